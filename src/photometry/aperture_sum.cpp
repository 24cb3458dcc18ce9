// SPDX-License-Identifier: MIT
#include "photometry/aperture_sum.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "photometry/circle_pixel.hpp"

namespace emberline::photometry {
namespace {

constexpr double half_diagonal = std::numbers::sqrt2 / 2.0;
constexpr double most_undefined = 0.1;  // of an aperture's area
constexpr double same_distance_px = 0.6;
constexpr double whole_area = 1.0 - 1e-9;

// The mean of defined pixels as far from the centre as this one: a star's image is round enough for that.
double fill_value(const frame::Cutout& cutout, const frame::PixelPosition& centre, double distance_px) {
    double sum = 0.0;
    int n = 0;
    const int reach = static_cast<int>(std::ceil(distance_px + 1.5));
    const int cx = static_cast<int>(std::lround(centre.x)), cy = static_cast<int>(std::lround(centre.y));
    for (int y = cy - reach; y <= cy + reach; ++y) {
        for (int x = cx - reach; x <= cx + reach; ++x) {
            if (!cutout.contains(x, y)) continue;
            if (std::abs(std::hypot(x - centre.x, y - centre.y) - distance_px) > same_distance_px) continue;
            const float v = cutout.at(x, y);
            if (!std::isfinite(v)) continue;
            sum += static_cast<double>(v);
            ++n;
        }
    }
    return n > 0 ? sum / n : std::numeric_limits<double>::quiet_NaN();
}

// Sums of one radius, from the pixels that it cuts; those wholly inside come as a running total.
struct Ring {
    double flux = 0.0, area = 0.0;              // of cut pixels
    double whole_flux = 0.0, whole_area = 0.0;  // of pixels that become whole at this radius
    double undefined = 0.0, whole_undefined = 0.0;
    double peak = -std::numeric_limits<double>::infinity();  // of pixels first touched at this radius
};

}  // namespace

Result<ApertureSums> sum_apertures(const frame::Cutout& cutout, const frame::PixelPosition& centre,
                                   std::span<const double> radii_px, const SkyEstimate& sky,
                                   const PixelLimits& limits) {
    const auto refuse = [&](std::string what) {
        return fail({.what = std::move(what),
                     .where = fmt::format("aperture at ({:.1f}, {:.1f})", centre.x, centre.y),
                     .mend = "Check the star's position and the aperture settings."});
    };
    if (radii_px.empty() || !(radii_px.front() > 0.0)) return refuse("There is no radius above zero.");
    if (!cutout.contains(static_cast<int>(std::lround(centre.x)), static_cast<int>(std::lround(centre.y)))) {
        return refuse("Its centre lies outside the frame.");
    }
    const std::size_t n = radii_px.size();
    std::vector<Ring> rings(n);
    const double reach = radii_px.back() + half_diagonal;
    const frame::PixelBox& box = cutout.box;
    const int y_first = std::max(box.y0, static_cast<int>(std::ceil(centre.y - reach)));
    const int y_last = std::min(box.y0 + box.height - 1, static_cast<int>(std::floor(centre.y + reach)));
    const int x_first = std::max(box.x0, static_cast<int>(std::ceil(centre.x - reach)));
    const int x_last = std::min(box.x0 + box.width - 1, static_cast<int>(std::floor(centre.x + reach)));
    for (int y = y_first; y <= y_last; ++y) {
        for (int x = x_first; x <= x_last; ++x) {
            const double dx = x - centre.x, dy = y - centre.y;
            const double distance = std::sqrt(dx * dx + dy * dy);
            if (distance > reach) continue;
            auto adu = static_cast<double>(cutout.at(x, y));
            const bool defined = std::isfinite(adu);
            if (!defined) adu = fill_value(cutout, centre, distance);
            const double light = adu - (sky.level_adu + sky.slope_x_adu * dx + sky.slope_y_adu * dy);
            bool first = true;
            for (std::size_t k = 0; k < n; ++k) {
                const double r = radii_px[k];
                if (r <= distance - half_diagonal) continue;
                if (first && defined) rings[k].peak = std::max(rings[k].peak, adu);
                if (r >= distance + half_diagonal) {
                    rings[k].whole_flux += light;
                    rings[k].whole_area += 1.0;
                    rings[k].whole_undefined += defined ? 0.0 : 1.0;
                    break;
                }
                const double overlap = circle_pixel_overlap(dx, dy, r);
                if (overlap > 0.0) first = false;
                rings[k].flux += overlap * light;
                rings[k].area += overlap;
                rings[k].undefined += defined ? 0.0 : overlap;
            }
        }
    }
    ApertureSums out;
    double flux = 0.0, area = 0.0, undefined = 0.0, peak = -std::numeric_limits<double>::infinity();
    for (std::size_t k = 0; k < n; ++k) {
        flux += rings[k].whole_flux;
        area += rings[k].whole_area;
        undefined += rings[k].whole_undefined;
        peak = std::max(peak, rings[k].peak);
        const double full = std::numbers::pi * radii_px[k] * radii_px[k];
        Caveats caveats;
        const double missing = undefined + rings[k].undefined;
        if (missing > 0.0) caveats.add(Caveat::bad_pixels);
        if (peak >= limits.saturation_adu) caveats.add(Caveat::saturated);
        if (peak > limits.linear_to_adu) caveats.add(Caveat::not_linear);
        if (area + rings[k].area < whole_area * full) caveats.add(Caveat::edge);
        const bool usable = missing <= most_undefined * full;
        out.flux_adu.push_back(usable ? flux + rings[k].flux : std::numeric_limits<double>::quiet_NaN());
        out.area_px.push_back(area + rings[k].area);
        out.caveats.push_back(caveats);
        if (k == 0) out.peak_adu = peak;
    }
    if (std::none_of(out.flux_adu.begin(), out.flux_adu.end(), [](double f) { return std::isfinite(f); })) {
        return refuse("More than a tenth of it is undefined pixels.");
    }
    return out;
}

}  // namespace emberline::photometry
