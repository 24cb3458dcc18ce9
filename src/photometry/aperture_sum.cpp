// SPDX-License-Identifier: MIT
#include "photometry/aperture_sum.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "photometry/circle_pixel.hpp"

namespace emberline::photometry {
namespace {

constexpr double half_diagonal = std::numbers::sqrt2 / 2.0;
constexpr double most_undefined = 0.1;  // of an aperture's area
constexpr double same_distance_px = 0.6;
constexpr double near_distance_px = 1.2;  // where none is as far: the pixel in the middle has neighbours only
constexpr double whole_area = 1.0 - 1e-9;

// The mean light of defined pixels as far from the centre as this one: a star's image is round enough for
// that.
class LightAtDistance {
  public:
    void add(double distance_px, double light_adu) { pixels_.push_back({distance_px, light_adu}); }
    void finish() {
        std::sort(pixels_.begin(), pixels_.end(),
                  [](const Pixel& a, const Pixel& b) { return a.distance < b.distance; });
        sum_.assign(1, 0.0);
        for (const Pixel& p : pixels_)
            sum_.push_back(sum_.back() + p.light);
    }
    [[nodiscard]] double at(double distance_px) const {
        const double same = within(distance_px, same_distance_px);
        return std::isfinite(same) ? same : within(distance_px, near_distance_px);
    }

  private:
    [[nodiscard]] double within(double distance_px, double reach_px) const {
        const auto index = [&](double limit) {
            const auto found = std::lower_bound(pixels_.begin(), pixels_.end(), limit,
                                                [](const Pixel& p, double d) { return p.distance < d; });
            return static_cast<std::size_t>(found - pixels_.begin());
        };
        const std::size_t first = index(distance_px - reach_px);
        const std::size_t last = index(distance_px + reach_px);
        return last > first ? (sum_[last] - sum_[first]) / static_cast<double>(last - first)
                            : std::numeric_limits<double>::quiet_NaN();
    }

    struct Pixel {
        double distance, light;
    };
    std::vector<Pixel> pixels_;
    std::vector<double> sum_;
};

// Sums of one radius, from the pixels that it cuts; those wholly inside come as a running total.
struct Ring {
    double flux = 0.0, area = 0.0;              // of cut pixels
    double whole_flux = 0.0, whole_area = 0.0;  // of pixels that become whole at this radius
    double undefined = 0.0, whole_undefined = 0.0;
    double filled = 0.0, whole_filled = 0.0;                 // light of undefined pixels
    double peak = -std::numeric_limits<double>::infinity();  // of pixels first touched at this radius
};

struct PixelNear {
    int x, y;
    double dx, dy, distance;
};

std::vector<PixelNear> pixels_within(const frame::PixelBox& box, const frame::PixelPosition& centre,
                                     double reach) {
    const double right = box.x0 + box.width - 1.0, top = box.y0 + box.height - 1.0;
    const int x_first = static_cast<int>(std::max(box.x0 + 0.0, std::ceil(centre.x - reach)));
    const int x_last = static_cast<int>(std::min(right, std::floor(centre.x + reach)));
    const int y_first = static_cast<int>(std::max(box.y0 + 0.0, std::ceil(centre.y - reach)));
    const int y_last = static_cast<int>(std::min(top, std::floor(centre.y + reach)));
    std::vector<PixelNear> pixels;
    for (int y = y_first; y <= y_last; ++y) {
        for (int x = x_first; x <= x_last; ++x) {
            const double dx = x - centre.x, dy = y - centre.y;
            const double distance = std::sqrt(dx * dx + dy * dy);
            if (distance < reach) pixels.push_back({x, y, dx, dy, distance});
        }
    }
    return pixels;
}

// One pixel's light to every radius that touches it. `raw_adu` is absent where the light is a filling.
void share_out(const PixelNear& pixel, double light, std::optional<double> raw_adu,
               std::span<const double> radii_px, std::vector<Ring>& rings) {
    bool touched = false;
    const auto touch = [&](Ring& ring) {
        if (!touched && raw_adu) ring.peak = std::max(ring.peak, *raw_adu);
        touched = true;
    };
    const auto first = std::upper_bound(radii_px.begin(), radii_px.end(), pixel.distance - half_diagonal);
    for (auto k = static_cast<std::size_t>(first - radii_px.begin()); k < rings.size(); ++k) {
        Ring& ring = rings[k];
        if (radii_px[k] >= pixel.distance + half_diagonal) {
            touch(ring);
            ring.whole_flux += light;
            ring.whole_area += 1.0;
            if (!raw_adu) {
                ring.whole_undefined += 1.0;
                ring.whole_filled += light;
            }
            return;
        }
        const double overlap = circle_pixel_overlap(pixel.dx, pixel.dy, radii_px[k]);
        if (overlap <= 0.0) continue;
        touch(ring);
        ring.flux += overlap * light;
        ring.area += overlap;
        if (!raw_adu) {
            ring.undefined += overlap;
            ring.filled += overlap * light;
        }
    }
}

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
    for (std::size_t k = 0; k < radii_px.size(); ++k) {
        if (!std::isfinite(radii_px[k]) || (k > 0 && radii_px[k] < radii_px[k - 1]))
            return refuse("The radii do not ascend.");
    }
    if (!cutout.box.covers(centre.x, centre.y)) return refuse("Its centre lies outside the frame.");
    std::vector<Ring> rings(radii_px.size());
    const auto pixels = pixels_within(cutout.box, centre, radii_px.back() + half_diagonal);
    const auto light_above_sky = [&](const PixelNear& p) {
        return static_cast<double>(cutout.at(p.x, p.y)) -
               (sky.level_adu + sky.slope_x_adu * p.dx + sky.slope_y_adu * p.dy);
    };
    bool whole = true;
    for (const PixelNear& p : pixels) {
        const auto adu = static_cast<double>(cutout.at(p.x, p.y));
        if (std::isfinite(adu)) {
            share_out(p, light_above_sky(p), adu, radii_px, rings);
        } else {
            whole = false;
        }
    }
    if (!whole) {
        LightAtDistance filling;
        for (const PixelNear& p : pixels) {
            if (std::isfinite(cutout.at(p.x, p.y))) filling.add(p.distance, light_above_sky(p));
        }
        filling.finish();
        for (const PixelNear& p : pixels) {
            if (!std::isfinite(cutout.at(p.x, p.y)))
                share_out(p, filling.at(p.distance), std::nullopt, radii_px, rings);
        }
    }
    ApertureSums out;
    double flux = 0.0, area = 0.0, undefined = 0.0, filled = 0.0;
    double peak = -std::numeric_limits<double>::infinity();
    for (std::size_t k = 0; k < rings.size(); ++k) {
        flux += rings[k].whole_flux;
        area += rings[k].whole_area;
        undefined += rings[k].whole_undefined;
        filled += rings[k].whole_filled;
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
        out.filled_adu.push_back(filled + rings[k].filled);
        out.filled_area_px.push_back(missing);
        // The smallest circle may hold no defined pixel.
        if (k == 0 || !std::isfinite(out.peak_adu)) out.peak_adu = peak;
    }
    if (std::none_of(out.flux_adu.begin(), out.flux_adu.end(), [](double f) { return std::isfinite(f); })) {
        return refuse("More than a tenth of it is undefined pixels.");
    }
    return out;
}

}  // namespace emberline::photometry
