// SPDX-License-Identifier: MIT
#include "photometry/dark_ring.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

// Rings half a FWHM wide, from one FWHM outwards.
constexpr std::size_t rings = 5;
constexpr double first_fwhm = 1.0, width_fwhm = 0.5;
constexpr double least_pixels = 8.0;

struct Profile {
    std::array<double, rings> height{}, err{};  // over the star's own height
};

bool profile_of(const TexturePlace& place, double fwhm_px, Profile& profile) {
    const frame::PixelBox& box = place.cutout->box;
    std::array<std::vector<double>, rings> pixels;
    double peak = 0.0;
    const double reach = (first_fwhm + width_fwhm * rings) * fwhm_px;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        const double v = y - place.centre.y;
        if (std::abs(v) > reach) continue;
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double u = x - place.centre.x, r = std::sqrt(u * u + v * v) / fwhm_px;
            const double d = static_cast<double>(place.cutout->at(x, y)) - place.sky.level_adu -
                             place.sky.slope_x_adu * u - place.sky.slope_y_adu * v;
            if (!std::isfinite(d)) continue;
            if (r < first_fwhm) {
                peak = std::max(peak, d);
                continue;
            }
            const auto k = static_cast<std::size_t>((r - first_fwhm) / width_fwhm);
            if (k < rings) pixels[k].push_back(d);
        }
    }
    if (!(peak > 0.0)) return false;
    for (std::size_t k = 0; k < rings; ++k) {
        const auto n = static_cast<double>(pixels[k].size());
        if (n < least_pixels) return false;
        // Of whole numbers the median is one of them; a clipped mean is not.
        profile.height[k] = numerics::clipped_mean(pixels[k]).mean / peak;
        profile.err[k] = 1.25 * place.sky.scatter_adu / std::sqrt(n) / peak;
    }
    return true;
}

}  // namespace

DarkRing find_dark_ring(std::span<const TexturePlace> places, double fwhm_px) {
    std::vector<Profile> profiles;
    for (const TexturePlace& place : places) {
        Profile profile;
        if (place.cutout != nullptr && place.star_usable && profile_of(place, fwhm_px, profile))
            profiles.push_back(profile);
    }
    DarkRing ring;
    ring.stars = profiles.size();
    if (profiles.empty()) return ring;
    const auto n = static_cast<double>(profiles.size());
    for (std::size_t k = 0; k < rings; ++k) {
        std::vector<double> heights, errs;
        for (const Profile& p : profiles) {
            heights.push_back(p.height[k]);
            errs.push_back(p.err[k]);
        }
        const double height = numerics::median(heights);
        if (-height <= ring.depth) continue;
        const double spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(heights, height);
        ring.depth = -height;
        ring.depth_err = 1.25 * std::max(spread, numerics::median(errs)) / std::sqrt(n);
        ring.radius_px = (first_fwhm + width_fwhm * (static_cast<double>(k) + 0.5)) * fwhm_px;
        const auto dark = [&](const Profile& p) { return p.height[k] < -3.0 * p.err[k]; };
        ring.share = static_cast<double>(std::count_if(profiles.begin(), profiles.end(), dark)) / n;
    }
    return ring;
}

}  // namespace emberline::photometry
