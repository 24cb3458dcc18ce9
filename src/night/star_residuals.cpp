// SPDX-License-Identifier: MIT
#include "night/star_residuals.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "night/flip_step.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

// What a star's colour changes. The zero point holds the transient's colour where that was known, else the
// mean one of the stars that calibrate.
struct ColourTerm {
    std::optional<ColourIndex> index;
    double term = 0.0, zero_mag = 0.0;

    ColourTerm(const standard::Sequence& sequence, const Measurement& of) : index(usual_colour(of.band)) {
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

}  // namespace

std::vector<FrameResidual> frame_residuals(const photometry::FrameFluxes& fluxes,
                                           const FrameMeasurement& measured,
                                           const standard::Sequence& sequence) {
    const auto k = aperture_in_use(fluxes, measured);
    if (!k) return {};
    const ColourTerm colour(sequence, measured);
    std::vector<FrameResidual> out;
    for (const standard::ComparisonStar& star : sequence.stars) {
        const auto catalogue = star.magnitude(sequence_band(measured.band));
        const photometry::StarFlux* light = catalogue ? fluxes.find(star.label) : nullptr;
        if (light == nullptr || *k >= light->flux_e.size() || light_lost(fluxes, *light, *k)) continue;
        const double flux = light->flux_e[*k];
        if (!(flux > 0.0)) continue;
        const double err =
            mag_per_relative_flux * std::sqrt(noise_terms(fluxes, *light, *k).variance_e2(flux)) / flux;
        const double value =
            measured.zero_point_mag + colour.shift_mag(star) - 2.5 * std::log10(flux) - catalogue->value;
        if (!std::isfinite(value) || !(err > 0.0) || !std::isfinite(err)) continue;
        out.push_back({star.label, value, err});
    }
    return out;
}

MeanResidual mean_residual(const std::vector<double>& residuals_mag, const std::vector<double>& errs_mag) {
    const numerics::WeightedMean mean = numerics::weighted_mean(residuals_mag, errs_mag);
    const double dof = static_cast<double>(mean.n) - 1.0;
    const double wider = dof > 0.0 ? std::sqrt(std::max(1.0, mean.chi2 / dof)) : 1.0;
    return {mean.mean, mean.err * wider, static_cast<int>(residuals_mag.size())};
}

std::vector<StarResidual> night_residuals(const std::vector<photometry::FrameFluxes>& frames,
                                          const Solution& solution, const standard::Sequence& sequence,
                                          const NightMeasurement& of) {
    struct Values {
        std::vector<double> residuals_mag, errs_mag;
    };
    std::map<std::string, Values> by_star;
    for (const FrameInSolution& one : frames_in_solution(frames, solution)) {
        const FrameMeasurement& m = *one.measured;
        if (!m.used || m.night != of.night || m.band != of.band || m.instrument != of.instrument) continue;
        for (const FrameResidual& r : frame_residuals(*one.fluxes, m, sequence)) {
            by_star[r.label].residuals_mag.push_back(r.residual_mag);
            by_star[r.label].errs_mag.push_back(r.err_mag);
        }
    }
    std::vector<StarResidual> out;
    for (const standard::ComparisonStar& star : sequence.stars) {
        const auto found = by_star.find(star.label);
        if (found == by_star.end()) continue;
        const auto catalogue = star.magnitude(sequence_band(of.band));
        const MeanResidual mean = mean_residual(found->second.residuals_mag, found->second.errs_mag);
        out.push_back({star.label, *catalogue, catalogue->value + mean.residual_mag, mean.residual_mag,
                       mean.err_mag, mean.frames});
    }
    return out;
}

}  // namespace emberline::night
