// SPDX-License-Identifier: MIT
#include "night/star_lights.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "night/solve_band.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

// Below, a magnitude's error is no longer that of its flux, and the star could tell little.
constexpr double least_signal_to_noise = 10.0;

// The index of the aperture that a measurement was made with.
std::size_t aperture_of(const FrameFluxes& fluxes, double aperture_px) {
    std::size_t best = 0;
    for (std::size_t k = 1; k < fluxes.apertures.size(); ++k) {
        if (std::abs(fluxes.apertures[k].radius_px - aperture_px) <
            std::abs(fluxes.apertures[best].radius_px - aperture_px))
            best = k;
    }
    return best;
}

double middle_width_arcsec(const std::vector<LightFrame>& frames) {
    std::vector<double> widths;
    for (const LightFrame& frame : frames)
        widths.push_back(frame.fluxes->fwhm_px * frame.fluxes->scale_arcsec_per_px);
    return numerics::median(std::move(widths));
}

// Of one star in all frames; nothing where it is too faint to be judged.
std::vector<StarMagnitude> lights_of(const StarLights& group, std::size_t star, double extinction) {
    std::vector<StarMagnitude> lights;
    std::vector<double> signal_to_noise;
    for (std::size_t f = 0; f < group.frames.size(); ++f) {
        const FrameFluxes& fluxes = *group.frames[f].fluxes;
        const std::size_t k = group.frames[f].aperture;
        const StarFlux* light = fluxes.find(group.stars[star].label);
        if (light == nullptr || light_lost(fluxes, *light, k) || !std::isfinite(light->flux_e[k])) continue;
        const double flux_e = light->flux_e[k];
        const double variance_e2 = noise_terms(fluxes, *light, k).variance_e2(std::max(flux_e, 0.0));
        if (!(variance_e2 > 0.0) || !std::isfinite(variance_e2)) continue;
        signal_to_noise.push_back(flux_e / std::sqrt(variance_e2));
        if (signal_to_noise.back() < 0.5 * least_signal_to_noise) continue;
        double magnitude_mag = magnitude_difference(flux_e, 1.0) - group.stars[star].catalogue_mag;
        if (light->airmass && fluxes.airmass)
            magnitude_mag -= extinction * (*light->airmass - *fluxes.airmass);
        const double err_mag = mag_per_relative_flux / signal_to_noise.back();
        lights.push_back({f, star, magnitude_mag, err_mag * err_mag});
    }
    if (signal_to_noise.empty() || numerics::median(std::move(signal_to_noise)) < least_signal_to_noise)
        return {};
    return lights;
}

bool seen_at_all(const StarLights& group, std::size_t star) {
    return std::any_of(group.frames.begin(), group.frames.end(), [&](const LightFrame& frame) {
        return frame.fluxes->find(group.stars[star].label) != nullptr;
    });
}

void fill(StarLights& group, const standard::Sequence& sequence, const std::set<std::string>& labels,
          const Campaign& campaign) {
    group.colour_term = colour_term_prior(group.band, group.instrument, campaign);
    group.stars = calibrating_stars(sequence, group.band, labels);
    const double extinction = extinction_prior(group.band, group.instrument, campaign).value;
    const double middle = middle_width_arcsec(group.frames);
    for (LightFrame& frame : group.frames)
        frame.log_width = std::log(frame.fluxes->fwhm_px * frame.fluxes->scale_arcsec_per_px / middle);
    group.faint.assign(group.stars.size(), false);
    for (std::size_t i = 0; i < group.stars.size(); ++i) {
        const std::vector<StarMagnitude> own = lights_of(group, i, extinction);
        group.faint[i] = own.empty() && seen_at_all(group, i);
        group.lights.insert(group.lights.end(), own.begin(), own.end());
    }
}

}  // namespace

std::vector<StarLights> star_lights(const std::vector<FrameFluxes>& frames, const Solution& solution,
                                    const standard::Sequence& sequence, const std::set<std::string>& labels,
                                    const Campaign& campaign) {
    std::map<std::tuple<std::string, int, std::string>, const FrameFluxes*> by_name;
    for (const FrameFluxes& frame : frames)
        by_name[{frame.frame, frame.plane, frame.fingerprint}] = &frame;
    std::map<std::pair<Band, std::string>, StarLights> groups;
    for (const FrameMeasurement& measured : solution.frames) {
        if (!measured.used) continue;
        const auto found = by_name.find({measured.frame, measured.plane, measured.fingerprint});
        if (found == by_name.end()) continue;
        StarLights& group = groups[{measured.band, measured.instrument}];
        group.band = measured.band;
        group.instrument = measured.instrument;
        auto night = std::find(group.nights.begin(), group.nights.end(), measured.night);
        if (night == group.nights.end()) night = group.nights.insert(group.nights.end(), measured.night);
        group.frames.push_back({found->second, aperture_of(*found->second, measured.aperture_px),
                                static_cast<std::size_t>(night - group.nights.begin()), 0.0});
    }
    std::vector<StarLights> out;
    for (auto& [key, group] : groups) {
        fill(group, sequence, labels, campaign);
        out.push_back(std::move(group));
    }
    return out;
}

}  // namespace emberline::night
