// SPDX-License-Identifier: MIT
// To be honest: all coefficients below are from memory; the tests hold them against tables made elsewhere.
#include "lightcurve/extinction.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <span>
#include <stdexcept>

#include "embedded/extinction_table.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"

namespace emberline::lightcurve {
namespace {

constexpr double least_per_um = 0.3, most_per_um = 3.3;  // the range of the fits of Cardelli et al. 1989
constexpr double infrared_below_per_um = 1.1;
constexpr double least_r_v = 2.0, most_r_v = 6.0;

double polynomial(std::span<const double> coefficients, double y) {
    double sum = 0.0;
    for (auto c = coefficients.rbegin(); c != coefficients.rend(); ++c)
        sum = sum * y + *c;
    return sum;
}

// a(x) + b(x)/R_V, x = 1/λ in µm⁻¹, y = x − 1.82.
double cardelli(double x, double r_v, std::span<const double> optical_a, std::span<const double> optical_b) {
    if (x < infrared_below_per_um) return (0.574 - 0.527 / r_v) * std::pow(x, 1.61);
    return polynomial(optical_a, x - 1.82) + polynomial(optical_b, x - 1.82) / r_v;
}

double ccm89(double x, double r_v) {
    static constexpr double a[] = {1.0, 0.17699, -0.50447, -0.02427, 0.72085, 0.01979, -0.77530, 0.32999};
    static constexpr double b[] = {0.0, 1.41338, 2.28305, 1.07233, -5.38434, -0.62251, 5.30260, -2.09002};
    return cardelli(x, r_v, a, b);
}

double odonnell94(double x, double r_v) {
    static constexpr double a[] = {1.0, 0.104, -0.609, 0.701, 1.137, -1.718, -0.827, 1.647, -0.505};
    static constexpr double b[] = {0.0, 1.952, 2.908, -3.989, -7.985, 11.102, 5.491, -10.805, 3.347};
    return cardelli(x, r_v, a, b);
}

// Fitzpatrick draws a natural cubic spline through A(λ)/E(B−V) at nine anchors.
constexpr std::size_t anchors = 9;
struct Knots {
    std::array<double, anchors> x, y;
};

Knots fitzpatrick_anchors(double r) {
    // The two in the ultraviolet lie on the curve of Fitzpatrick & Massa 1990, below its far-ultraviolet
    // term.
    const auto ultraviolet = [r](double x) {
        constexpr double bump = 3.23, bump_centre = 4.596, bump_width = 0.99;
        const double slope = -0.824 + 4.717 / r, level = 2.030 - 3.007 * slope;
        const double from_centre = x * x - bump_centre * bump_centre;
        const double drude = x * x / (from_centre * from_centre + x * x * bump_width * bump_width);
        return level + slope * x + bump * drude + r;
    };
    const double at_6000[] = {-0.422809, 1.00270, 2.13572e-4};
    const double at_5470[] = {-5.13540e-2, 1.00216, -7.35778e-5};
    const double at_4670[] = {0.700127, 1.00184, -3.32598e-5};
    const double at_4110[] = {1.19456, 1.01707, -5.46959e-3, 7.97809e-4, -4.45636e-5};
    constexpr double far = 1.0 / 0.27, farther = 1.0 / 0.26;
    return {{0.0, 1.0 / 2.65, 1.0 / 1.22, 1.0 / 0.6, 1.0 / 0.547, 1.0 / 0.467, 1.0 / 0.411, far, farther},
            {0.0, 0.26469 * r / 3.1, 0.82925 * r / 3.1, polynomial(at_6000, r), polynomial(at_5470, r),
             polynomial(at_4670, r), polynomial(at_4110, r), ultraviolet(far), ultraviolet(farther)}};
}

// Second derivatives at the knots, none at the ends: the usual tridiagonal system, swept forth and back.
std::array<double, anchors> natural_curvatures(const Knots& k) {
    std::array<double, anchors> pivot{}, right{}, curvature{};
    for (std::size_t i = 1; i + 1 < anchors; ++i) {
        const double before = k.x[i] - k.x[i - 1], after = k.x[i + 1] - k.x[i];
        const double bend = 6.0 * ((k.y[i + 1] - k.y[i]) / after - (k.y[i] - k.y[i - 1]) / before);
        const double carried = i == 1 ? 0.0 : before / pivot[i - 1];
        pivot[i] = 2.0 * (before + after) - carried * before;
        right[i] = bend - carried * right[i - 1];
    }
    for (std::size_t i = anchors - 2; i > 0; --i)
        curvature[i] = (right[i] - (k.x[i + 1] - k.x[i]) * curvature[i + 1]) / pivot[i];
    return curvature;
}

double fitzpatrick99(double x, double r_v) {
    const Knots k = fitzpatrick_anchors(r_v);
    const auto curvature = natural_curvatures(k);
    const auto above =
        static_cast<std::size_t>(std::upper_bound(k.x.begin() + 1, k.x.end() - 1, x) - k.x.begin());
    const double width = k.x[above] - k.x[above - 1];
    const double u = (k.x[above] - x) / width, v = 1.0 - u;
    const double value =
        u * k.y[above - 1] + v * k.y[above] +
        ((u * u * u - u) * curvature[above - 1] + (v * v * v - v) * curvature[above]) * width * width / 6.0;
    return value / r_v;
}

struct Coefficient {
    double mag_per_ebv;
    std::string source;
};

// The table is ours and compiled in: a fault in it is our own mistake and stops the program at once.
std::map<std::string, Coefficient> load_coefficients() {
    const auto table = parse_table(embedded::extinction_table, "data/extinction.csv");
    if (!table) throw std::logic_error(one_line(table.error()));
    std::map<std::string, Coefficient> coefficients;
    for (const TableRow& row : table->rows) {
        const auto text = [&](std::string_view column) { return row.fields.at(*table->column(column)); };
        coefficients[text("band")] = {parse_number(text("mag_per_ebv")).value(),
                                      "Schlafly & Finkbeiner 2011, " + text("table_row")};
    }
    return coefficients;
}

}  // namespace

std::optional<double> extinction_ratio(ExtinctionLaw law, double wavelength_um, double r_v) {
    const double x = 1.0 / wavelength_um;
    if (!(x >= least_per_um && x <= most_per_um && r_v >= least_r_v && r_v <= most_r_v)) return std::nullopt;
    switch (law) {
        case ExtinctionLaw::ccm89:
            return ccm89(x, r_v);
        case ExtinctionLaw::odonnell94:
            return odonnell94(x, r_v);
        case ExtinctionLaw::fitzpatrick99:
            return fitzpatrick99(x, r_v);
    }
    return std::nullopt;
}

std::optional<BandExtinction> band_extinction(const Band& band) {
    static const std::map<std::string, Coefficient> coefficients = load_coefficients();
    if (band.empty()) return std::nullopt;
    const Band standard = sequence_band(band);
    if (const auto known = coefficients.find(standard.name()); known != coefficients.end()) {
        BandExtinction found{known->second.mag_per_ebv, known->second.source};
        if (standard != band) found.source += fmt::format(", which {} is calibrated on", band.name());
        return found;
    }
    const auto at = [](const Band& b) {
        return extinction_ratio(ExtinctionLaw::fitzpatrick99, facts(b).wavelength_nm * 1e-3);
    };
    const Band visual = parse_band("V").value();
    const auto ratio = at(standard), visual_ratio = at(visual);
    if (!ratio || !visual_ratio) return std::nullopt;
    return BandExtinction{
        *ratio / *visual_ratio * coefficients.at(visual.name()).mag_per_ebv,
        fmt::format("Fitzpatrick 1999 at {:.0f} nm, scaled to V of Schlafly & Finkbeiner 2011",
                    facts(standard).wavelength_nm)};
}

}  // namespace emberline::lightcurve
