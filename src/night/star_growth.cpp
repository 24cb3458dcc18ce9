// SPDX-License-Identifier: MIT
// Notation: N and W the light within the narrow and the wide circle; W = N + ring.
#include "night/star_growth.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "night/aperture_grid.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr double most_err_mag = 0.2;  // of one frame: noisier ones tell nothing
constexpr std::size_t least_frames = 4, least_stars = 3;
// Faint neighbours in an annulus make its sky wrong in every frame alike, by up to this share of its error.
constexpr double lasting_sky_error = 0.5;

struct Growth {
    double mag = 0.0, variance_mag2 = 0.0, lasting_mag = 0.0;
};

// −2.5 log10(N/W) and its variance. N is part of W: d ln(N/W) = dN (1/N − 1/W) − d(ring)/W, and the sky's
// error changes both.
std::optional<Growth> growth_in(const FrameFluxes& frame, const StarFlux& star, std::size_t narrow,
                                std::size_t wide) {
    if (light_lost(frame, star, wide) || light_lost(frame, star, narrow)) return std::nullopt;
    const double n = star.flux_e[narrow], w = star.flux_e[wide];
    if (!(n > 0.0) || !(w > n * 0.5)) return std::nullopt;
    const double pixel_e2 = star.sky_scatter_e * star.sky_scatter_e;
    const double ring_px = std::max(star.area_px[wide] - star.area_px[narrow], 0.0);
    const double narrow_e2 = n + star.area_px[narrow] * pixel_e2;
    const double ring_e2 = std::max(w - n, 0.0) + ring_px * pixel_e2;
    const double sky = star.area_px[wide] / w - star.area_px[narrow] / n;
    const double random = std::pow(1.0 / n - 1.0 / w, 2) * narrow_e2 + ring_e2 / (w * w);
    const double of_sky = sky * star.sky_err_e_per_px;
    Growth out;
    out.mag = magnitude_difference(n, w);
    out.variance_mag2 = mag_per_relative_flux * mag_per_relative_flux * (random + of_sky * of_sky);
    out.lasting_mag = lasting_sky_error * mag_per_relative_flux * std::abs(of_sky);
    if (!std::isfinite(out.variance_mag2) || out.variance_mag2 > most_err_mag * most_err_mag)
        return std::nullopt;
    return out;
}

struct Sample {
    double excess_mag = 0.0, variance_mag2 = 0.0, lasting_mag = 0.0, x_px = 0.0, y_px = 0.0;
};

GrowthOfStar mean_of(const std::vector<Sample>& samples) {
    GrowthOfStar out;
    if (samples.size() < least_frames) return out;
    const auto count = static_cast<double>(samples.size());
    std::vector<double> values;
    for (const Sample& s : samples)
        values.push_back(s.excess_mag);
    const double middle = numerics::median(values);
    const double scatter = numerics::mad_to_sigma * numerics::median_absolute_deviation(values, middle);
    double sum = 0.0, weight = 0.0, lasting = 0.0;
    for (const Sample& s : samples) {
        // A cosmic ray in the ring is no companion.
        const double reach = 4.0 * std::max(scatter, std::sqrt(s.variance_mag2));
        if (std::abs(s.excess_mag - middle) > reach) continue;
        const double w = 1.0 / std::max(s.variance_mag2, scatter * scatter);
        sum += w * s.excess_mag;
        weight += w;
    }
    for (const Sample& s : samples) {
        lasting += s.lasting_mag / count;
        out.x_px += s.x_px / count;
        out.y_px += s.y_px / count;
    }
    if (!(weight > 0.0)) return out;
    out.known = true;
    out.excess_mag = sum / weight;
    out.err_mag = std::hypot(1.0 / std::sqrt(weight), lasting);
    return out;
}

}  // namespace

std::vector<GrowthOfStar> growth_of_stars(const StarLights& group, const std::vector<bool>& trusted,
                                          double narrow_fwhm, double wide_fwhm) {
    std::vector<std::vector<Sample>> samples(group.stars.size());
    for (const LightFrame& frame : group.frames) {
        const FrameFluxes& fluxes = *frame.fluxes;
        const auto narrow = find_multiple(fluxes.apertures, narrow_fwhm);
        const auto wide = find_multiple(fluxes.apertures, wide_fwhm);
        if (!narrow || !wide) continue;
        std::vector<std::pair<std::size_t, Sample>> own;
        std::vector<double> usual, xs, ys;
        for (std::size_t i = 0; i < group.stars.size(); ++i) {
            const StarFlux* star = fluxes.find(group.stars[i].label);
            if (star == nullptr) continue;
            const auto growth = growth_in(fluxes, *star, *narrow, *wide);
            if (!growth) continue;
            own.emplace_back(i, Sample{growth->mag, growth->variance_mag2, growth->lasting_mag,
                                       star->position.x, star->position.y});
            xs.push_back(star->position.x);
            ys.push_back(star->position.y);
            if (trusted[i]) usual.push_back(growth->mag);
        }
        if (usual.size() < least_stars) continue;
        const double middle = numerics::median(std::move(usual));
        const double x = numerics::median(std::move(xs)), y = numerics::median(std::move(ys));
        for (auto& [i, sample] : own) {
            sample.excess_mag -= middle;
            sample.x_px -= x;
            sample.y_px -= y;
            samples[i].push_back(sample);
        }
    }
    std::vector<GrowthOfStar> out;
    for (const auto& of_star : samples)
        out.push_back(mean_of(of_star));
    return out;
}

}  // namespace emberline::night
