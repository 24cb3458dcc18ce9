// SPDX-License-Identifier: MIT
// Notation: w weight of the window, σ_w its width; σ_e the width of star times window; a the amplitude of the
// first alias of a Gaussian sampled at every second pixel, exp(−(π σ_e)² / 2).
#include "night/phase_levels.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/robust.hpp"
#include "photometry/pixel_correlation.hpp"

namespace emberline::night {
namespace {

constexpr double window_fwhm = 2.0;    // of the window, in those of the stars
constexpr double sky_from_fwhm = 2.5;  // beyond, a star's light counts as sky
constexpr double least_signal = 30.0;  // of a star's light over its noise
constexpr double full_fraction = 0.9;  // of saturation
constexpr std::size_t least_sky = 30;  // pixels of a phase

struct PhaseSky {
    std::array<numerics::ClippedMean, 4> levels;
    [[nodiscard]] bool good() const {
        return std::all_of(levels.begin(), levels.end(), [](const auto& l) { return l.used >= least_sky; });
    }
};

double distance_px(const StarInStored& star, int x, int y) {
    const double u = x - star.position.x, v = y - star.position.y;
    return std::sqrt(u * u + v * v);
}

PhaseSky sky_around(const StarInStored& star, double fwhm_px) {
    std::array<std::vector<double>, 4> values;
    const frame::PixelBox& box = star.cutout.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            if (distance_px(star, x, y) > sky_from_fwhm * fwhm_px)
                values[frame::phase_of(x, y)].push_back(static_cast<double>(star.cutout.at(x, y)));
        }
    }
    PhaseSky sky;
    for (std::size_t k = 0; k < 4; ++k)
        sky.levels[k] = numerics::clipped_mean(values[k]);
    return sky;
}

// Each in its own phase's scatter; what stands out takes no part.
void add_products(const StarInStored& star, const PhaseSky& sky, double fwhm_px, int lag,
                  photometry::LagProducts& out) {
    constexpr double most_sigma = 4.0;
    photometry::add_lag_products(
        star.cutout.box, lag,
        [&](int x, int y) -> std::optional<double> {
            if (!star.cutout.contains(x, y) || distance_px(star, x, y) <= sky_from_fwhm * fwhm_px)
                return std::nullopt;
            const auto& level = sky.levels[frame::phase_of(x, y)];
            const double z = (static_cast<double>(star.cutout.at(x, y)) - level.mean) / level.sigma;
            return std::abs(z) < most_sigma ? std::optional(z) : std::nullopt;
        },
        out);
}

std::optional<StarPhases> light_of(const StarInStored& star, const PhaseSky& sky, double fwhm_px,
                                   double saturation_adu) {
    const double star_sigma = fwhm_px / (2.0 * std::sqrt(2.0 * std::numbers::ln2));
    const double window_sigma = window_fwhm * star_sigma;
    const frame::PixelBox& box = star.cutout.box;
    std::array<double, 4> sum{}, variance{};
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double r = distance_px(star, x, y);
            if (r > sky_from_fwhm * fwhm_px) continue;
            const auto v = static_cast<double>(star.cutout.at(x, y));
            if (!std::isfinite(v) || v > full_fraction * saturation_adu) return std::nullopt;
            const double w = std::exp(-0.5 * r * r / (window_sigma * window_sigma));
            const std::size_t k = frame::phase_of(x, y);
            sum[k] += w * (v - sky.levels[k].mean);
            variance[k] += w * w * sky.levels[k].sigma * sky.levels[k].sigma;
        }
    }
    double total = 0.0, total_variance = 0.0;
    for (std::size_t k = 0; k < 4; ++k) {
        total += sum[k];
        total_variance += variance[k];
    }
    if (!(total > least_signal * std::sqrt(total_variance))) return std::nullopt;
    const double effective = star_sigma * window_sigma / std::hypot(star_sigma, window_sigma);
    StarPhases phases{star.label,
                      {},
                      2.0 * std::sqrt(total_variance) / total,
                      std::exp(-0.5 * std::pow(std::numbers::pi * effective, 2))};
    for (std::size_t k = 0; k < 4; ++k)
        phases.share[k] = 4.0 * sum[k] / total;
    return phases;
}

}  // namespace

PhaseLevels measure_phases(const std::vector<StarInStored>& stars, double fwhm_px, double saturation_adu) {
    PhaseLevels levels;
    std::array<std::vector<double>, 4> differences;
    std::vector<double> sigmas;
    photometry::LagProducts beside, two_apart;
    for (const StarInStored& star : stars) {
        const PhaseSky sky = sky_around(star, fwhm_px);
        if (!sky.good()) continue;
        ++levels.boxes;
        add_products(star, sky, fwhm_px, 1, beside);
        add_products(star, sky, fwhm_px, 2, two_apart);
        double mean = 0.0;
        for (const auto& level : sky.levels) {
            mean += 0.25 * level.mean;
            sigmas.push_back(level.sigma);
        }
        for (std::size_t k = 0; k < 4; ++k)
            differences[k].push_back(sky.levels[k].mean - mean);
        if (auto light = light_of(star, sky, fwhm_px, saturation_adu))
            levels.stars.push_back(std::move(*light));
    }
    if (levels.boxes == 0) return levels;
    levels.sigma_adu = numerics::median(sigmas);
    levels.neighbour_correlation = beside.correlation() - two_apart.correlation();
    for (std::size_t k = 0; k < 4; ++k) {
        levels.sky_adu[k] = numerics::median(differences[k]);
        const double spread =
            numerics::mad_to_sigma * numerics::median_absolute_deviation(differences[k], levels.sky_adu[k]);
        // Of a median: π/2 times the variance of a mean. A pixel's worth of digits in few boxes is no error
        // of zero.
        const double least = levels.sigma_adu / std::sqrt(static_cast<double>(least_sky));
        levels.sky_err_adu[k] =
            std::sqrt(0.5 * std::numbers::pi / levels.boxes) * std::max(spread, 0.5 * least);
    }
    return levels;
}

}  // namespace emberline::night
