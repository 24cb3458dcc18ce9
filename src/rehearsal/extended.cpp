// SPDX-License-Identifier: MIT
#include "rehearsal/extended.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace emberline::rehearsal {
namespace {

constexpr double kernel_fwhm = 4.5;
constexpr double farthest_scale_lengths = 7.0;  // 0.7 % of an exponential's light lies beyond
// The cusp of an exponential is sampled this finely, in points a scale length: points on a grid then stand
// for the profile to 1e-4 once the air has smoothed them.
constexpr double points_a_scale_length = 3.0;
constexpr int most_points_a_pixel_side = 5;

struct Exponential {
    double flux_e = 0.0;
    double scale_arcsec = 1.0;  // along the long axis
    double axis_ratio = 1.0;
    double angle_deg = 0.0;  // of the long axis, east of north
};

struct Point {
    int x, y;
    double light;
};

double brightness(const Exponential& profile, const SkyOffset& from_nucleus) {
    const double angle = Angle::degrees(profile.angle_deg).radians();
    const double east = from_nucleus.east.arcseconds();
    const double north = from_nucleus.north.arcseconds();
    const double along = east * std::sin(angle) + north * std::cos(angle);
    const double across = (east * std::cos(angle) - north * std::sin(angle)) / profile.axis_ratio;
    const double lengths = std::hypot(along, across) / profile.scale_arcsec;
    return lengths > farthest_scale_lengths ? 0.0 : std::exp(-lengths);
}

void spread_point(LightMap& map, const Point& point, double scale, const Moffat::Kernel& kernel) {
    const int x0 = std::max(0, point.x - kernel.reach_x);
    const int x1 = std::min(map.width_px - 1, point.x + kernel.reach_x);
    const int y0 = std::max(0, point.y - kernel.reach_y);
    const int y1 = std::min(map.height_px - 1, point.y + kernel.reach_y);
    if (x1 < x0) return;
    const double light = point.light * scale;
    for (int y = y0; y <= y1; ++y) {
        const double* share =
            kernel.share.data() +
            static_cast<std::ptrdiff_t>(y - point.y + kernel.reach_y) * (2 * kernel.reach_x + 1) +
            (x0 - point.x + kernel.reach_x);
        double* row = map.e.data() + map.index(x0, y);
        for (int i = 0; i <= x1 - x0; ++i)
            row[i] += light * share[i];
    }
}

void add_exponential(LightMap& map, const Exponential& profile, const frame::PixelPosition& nucleus,
                     double scale_arcsec_per_px, const Plate& plate, const Moffat& spread) {
    const double scale_px = profile.scale_arcsec / scale_arcsec_per_px;
    const int side =
        std::clamp(static_cast<int>(std::ceil(points_a_scale_length / (scale_px * profile.axis_ratio))), 1,
                   most_points_a_pixel_side);
    const int reach = static_cast<int>(std::ceil(farthest_scale_lengths * scale_px));
    const int middle_x = static_cast<int>(std::lround(nucleus.x));
    const int middle_y = static_cast<int>(std::lround(nucleus.y));

    std::vector<std::vector<Point>> phases;  // one a place within the pixel
    double sum = 0.0;
    for (int phase = 0; phase < side * side; ++phase) {
        const double in_x = (phase % side + 0.5) / side - 0.5;
        const double in_y = (phase / side + 0.5) / side - 0.5;
        std::vector<Point>& points = phases.emplace_back();
        for (int y = middle_y - reach; y <= middle_y + reach; ++y) {
            for (int x = middle_x - reach; x <= middle_x + reach; ++x) {
                const double light =
                    brightness(profile, plate.on_sky(x + in_x - nucleus.x, y + in_y - nucleus.y));
                if (light == 0.0) continue;
                points.push_back({x, y, light});
                sum += light;
            }
        }
    }
    if (sum == 0.0) return;
    for (int phase = 0; phase < side * side; ++phase) {
        const auto kernel =
            spread.kernel((phase % side + 0.5) / side - 0.5, (phase / side + 0.5) / side - 0.5, kernel_fwhm);
        for (const Point& point : phases[static_cast<std::size_t>(phase)])
            spread_point(map, point, profile.flux_e / sum, kernel);
    }
}

}  // namespace

void add_host(LightMap& map, const InventedHost& host, const HostLight& light, const Plate& plate,
              const Moffat& spread) {
    const frame::PixelPosition nucleus = plate.truth(host.nucleus);
    const SkyOffset one_px = plate.on_sky(1.0, 0.0);
    const double scale_arcsec_per_px = std::hypot(one_px.east.arcseconds(), one_px.north.arcseconds());
    const double reach_px = farthest_scale_lengths *
                            std::max(host.disk_scale_arcsec, host.bulge_scale_arcsec) / scale_arcsec_per_px;
    if (nucleus.x < -reach_px || nucleus.x > map.width_px + reach_px || nucleus.y < -reach_px ||
        nucleus.y > map.height_px + reach_px) {
        return;
    }
    add_exponential(map,
                    {.flux_e = light.disk_e,
                     .scale_arcsec = host.disk_scale_arcsec,
                     .axis_ratio = host.disk_axis_ratio,
                     .angle_deg = host.disk_angle_deg},
                    nucleus, scale_arcsec_per_px, plate, spread);
    add_exponential(map, {.flux_e = light.bulge_e, .scale_arcsec = host.bulge_scale_arcsec}, nucleus,
                    scale_arcsec_per_px, plate, spread);
}

}  // namespace emberline::rehearsal
