// SPDX-License-Identifier: MIT
#include "night/star_residuals.hpp"

#include <cmath>

#include "night/choose_aperture.hpp"
#include "night/flip_step.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

// What a star's colour changes. The zero point of a night holds the transient's colour where that was known,
// else the mean one of the stars that calibrate.
struct ColourTerm {
    std::optional<ColourIndex> index;
    double term = 0.0, zero_mag = 0.0;

    ColourTerm(const standard::Sequence& sequence, const NightMeasurement& of)
        : index(usual_colour(of.band)) {
        if (!index || !of.colour_term) return;
        term = *of.colour_term;
        if (of.transformed && of.colour_mag) {
            zero_mag = *of.colour_mag;
            return;
        }
        double sum = 0.0, n = 0.0;
        for (const standard::ComparisonStar& star : sequence.stars) {
            const auto colour = star.colour(*index);
            if (star.role != standard::Role::comparison || !colour) continue;
            sum += colour->value;
            n += 1.0;
        }
        if (n > 0.0) zero_mag = sum / n;
    }
    [[nodiscard]] double shift_mag(const standard::ComparisonStar& star) const {
        const auto colour = index ? star.colour(*index) : std::nullopt;
        return colour ? term * (colour->value - zero_mag) : 0.0;
    }
};

std::optional<StarResidual> residual_of(const standard::ComparisonStar& star, const ValueWithError& catalogue,
                                        const std::vector<FrameInSolution>& members,
                                        double colour_shift_mag) {
    std::vector<double> values, errs;
    for (const FrameInSolution& one : members) {
        const auto k = aperture_in_use(*one.fluxes, *one.measured);
        const photometry::StarFlux* light = one.fluxes->find(star.label);
        if (!k || light == nullptr || *k >= light->flux_e.size() || light_lost(*one.fluxes, *light, *k))
            continue;
        const double flux = light->flux_e[*k];
        if (!(flux > 0.0)) continue;
        const double err =
            mag_per_relative_flux * std::sqrt(noise_terms(*one.fluxes, *light, *k).variance_e2(flux)) / flux;
        const double value =
            one.measured->zero_point_mag + colour_shift_mag - 2.5 * std::log10(flux) - catalogue.value;
        if (!std::isfinite(value) || !(err > 0.0) || !std::isfinite(err)) continue;
        values.push_back(value);
        errs.push_back(err);
    }
    if (values.empty()) return std::nullopt;
    const numerics::WeightedMean mean = numerics::weighted_mean(values, errs);
    const double dof = static_cast<double>(mean.n) - 1.0;
    const double wider = dof > 0.0 ? std::sqrt(std::max(1.0, mean.chi2 / dof)) : 1.0;
    return StarResidual{star.label, catalogue,        catalogue.value + mean.mean,
                        mean.mean,  mean.err * wider, static_cast<int>(values.size())};
}

}  // namespace

std::vector<StarResidual> night_residuals(const std::vector<photometry::FrameFluxes>& frames,
                                          const Solution& solution, const standard::Sequence& sequence,
                                          const NightMeasurement& of) {
    std::vector<FrameInSolution> members = frames_in_solution(frames, solution);
    std::erase_if(members, [&](const FrameInSolution& one) {
        const FrameMeasurement& m = *one.measured;
        return !m.used || m.night != of.night || m.band != of.band || m.instrument != of.instrument;
    });
    const ColourTerm colour(sequence, of);
    std::vector<StarResidual> out;
    for (const standard::ComparisonStar& star : sequence.stars) {
        const auto catalogue = star.magnitude(sequence_band(of.band));
        if (!catalogue) continue;
        if (auto residual = residual_of(star, *catalogue, members, colour.shift_mag(star)))
            out.push_back(std::move(*residual));
    }
    return out;
}

}  // namespace emberline::night
