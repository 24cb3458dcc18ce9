// SPDX-License-Identifier: MIT
#include "lightcurve/luminosity.hpp"

#include <fmt/format.h>

#include <cmath>
#include <limits>
#include <numbers>

#include "lightcurve/extinction.hpp"

namespace emberline::lightcurve {
namespace {

constexpr double ten_parsec_modulus_of_1_mpc = 25.0;  // 5 log10(1 Mpc / 10 pc)
constexpr double modulus_per_relative_distance = 5.0 / std::numbers::ln10;

// ΔM = linear x + quadratic x², x = Δm15(B) − 1.1, on the interval of their sample. Coefficients, their
// errors and the scatter of the relation from memory.
constexpr double standard_delta_m15 = 1.1;
constexpr double least_delta_m15 = 0.85, most_delta_m15 = 1.70;
constexpr ValueWithError quadratic{0.633, 0.742};
struct Relation {
    const char* band;
    ValueWithError linear;
    double scatter_mag;
};
constexpr Relation relations[] = {
    {"B", {0.786, 0.398}, 0.11}, {"V", {0.672, 0.396}, 0.09}, {"Ic", {0.422, 0.400}, 0.13}};

const Relation* relation_of(const Band& band) {
    if (band.empty()) return nullptr;
    const Band standard = sequence_band(band);
    for (const Relation& relation : relations) {
        if (standard.name() == relation.band) return &relation;
    }
    return nullptr;
}

}  // namespace

double distance_modulus_mag(double distance_mpc) {
    if (!(distance_mpc > 0.0)) return std::numeric_limits<double>::quiet_NaN();
    return 5.0 * std::log10(distance_mpc) + ten_parsec_modulus_of_1_mpc;
}

ValueWithError distance_modulus_mag(const ValueWithError& distance_mpc) {
    return {distance_modulus_mag(distance_mpc.value),
            modulus_per_relative_distance * distance_mpc.err / distance_mpc.value};
}

double distance_mpc(double distance_modulus_mag) {
    return std::pow(10.0, (distance_modulus_mag - ten_parsec_modulus_of_1_mpc) / 5.0);
}

ValueWithError distance_mpc(const ValueWithError& distance_modulus_mag) {
    const double distance = distance_mpc(distance_modulus_mag.value);
    return {distance, distance * distance_modulus_mag.err / modulus_per_relative_distance};
}

std::optional<AbsoluteMagnitude> absolute_magnitude(const Band& band, const ValueWithError& apparent_mag,
                                                    const ValueWithError& distance_modulus_mag,
                                                    double ebv_mag) {
    const auto dust = band_extinction(band);
    if (!dust || !(ebv_mag >= 0.0)) return std::nullopt;
    AbsoluteMagnitude absolute;
    absolute.extinction_mag = dust->mag_per_ebv * ebv_mag;
    absolute.mag = {apparent_mag.value - distance_modulus_mag.value - absolute.extinction_mag,
                    std::hypot(apparent_mag.err, distance_modulus_mag.err,
                               reddening_relative_err * absolute.extinction_mag)};
    if (!std::isfinite(absolute.mag.value) || !std::isfinite(absolute.mag.err)) return std::nullopt;
    const std::string taken_off = ebv_mag > 0.0 ? fmt::format("{:.3f} mag of foreground dust taken off ({})",
                                                              absolute.extinction_mag, dust->source)
                                                : "no foreground dust taken off";
    absolute.note =
        taken_off + "; the host's own dust and the shift of the band by redshift are not corrected for";
    return absolute;
}

std::optional<StretchHint> stretch_hint(const Band& band, const Figure& delta_m15_b) {
    const Relation* relation = relation_of(band);
    if (relation == nullptr) return std::nullopt;
    const std::string measured =
        fmt::format("Δm15(B) {}", with_error({delta_m15_b.value, delta_m15_b.err}, 2));
    if (!(delta_m15_b.value >= least_delta_m15 && delta_m15_b.value <= most_delta_m15)) {
        return StretchHint{
            std::nullopt,
            fmt::format(
                "{} lies outside {:.2f} to {:.2f}, where Phillips et al. 1999 relate it to luminosity: "
                "nothing is said of the luminosity.",
                measured, least_delta_m15, most_delta_m15)};
    }
    const double x = delta_m15_b.value - standard_delta_m15;
    const double slope = relation->linear.value + 2.0 * quadratic.value * x;
    // Their coefficients are correlated, by how much is not published: taken as independent.
    const double of_coefficients = std::hypot(relation->linear.err * x, quadratic.err * x * x);
    const double of_delta_m15 = std::abs(slope) * delta_m15_b.err;
    const ValueWithError fainter{relation->linear.value * x + quadratic.value * x * x,
                                 std::hypot(of_coefficients, of_delta_m15, relation->scatter_mag)};
    return StretchHint{
        fainter,
        fmt::format("If it is of type Ia, {} goes with a maximum in {} {} mag {} than at Δm15(B) = {:.1f} "
                    "(Phillips et al. 1999; of the error, {:.2f} is Δm15's, {:.2f} the coefficients', whose "
                    "correlation is not known and left out, {:.2f} the scatter of single supernovae): an "
                    "indication only.",
                    measured, relation->band, with_error({std::abs(fainter.value), fainter.err}, 2),
                    fainter.value < 0.0 ? "brighter" : "fainter", standard_delta_m15, of_delta_m15,
                    of_coefficients, relation->scatter_mag)};
}

}  // namespace emberline::lightcurve
