// SPDX-License-Identifier: MIT
#include "rehearsal/extended.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "rehearsal/host_shape.hpp"

namespace emberline::rehearsal {
namespace {

constexpr double kernel_fwhm = 4.5;
// The cusp of an exponential is sampled this finely, in points a scale length: points on a grid then stand
// for the profile to 1e-4 once the air has smoothed them.
constexpr double points_a_scale_length = 3.0;
constexpr int most_points_a_pixel_side = 5;
constexpr double point_scale_px = 0.1;  // a profile so small falls between the points and is a point itself
// A Gaussian detail sampled so finely keeps its light wherever it falls on the grid: to 2 exp(−2π² 0.8²).
constexpr double points_a_sigma = 0.8;
constexpr double farthest_sigma = 3.7;  // 1e-3 of a clump's light lies beyond
// Fine sampling ends as exp(−(d / fine_widths)⁴), d in units of what needs it.
constexpr double fine_widths = 1.4;
constexpr double farthest_fine_power = 14.0;  // less than 1e-6 of the light is left to be sampled finely

struct Point {
    int x, y;
    double light;
};

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

// A part of the host as points on a grid of its own, `side` × `side` a pixel.
struct Sampled {
    int side = 1;
    std::vector<std::vector<Point>> phases;  // one a place within the pixel
    double sum = 0.0;                        // before the dust
};

struct Stage {  // where the host lies on the frame
    LightMap& map;
    const InventedHost& host;
    const Plate& plate;
    const Moffat& spread;
    frame::PixelPosition nucleus;
    double scale_arcsec_per_px;

    [[nodiscard]] double dust(const SkyOffset& from_nucleus) const {
        return host.dust_lane ? let_through(*host.dust_lane, from_nucleus) : 1.0;
    }
};

// `light_at` takes what lies from the nucleus, on the sky.
template <class LightAt>
void sample(Sampled& into, const Stage& stage, const frame::PixelPosition& middle, double reach_px,
            const LightAt& light_at) {
    const int side = into.side;
    const int reach = static_cast<int>(std::ceil(reach_px));
    const int middle_x = static_cast<int>(std::lround(middle.x));
    const int middle_y = static_cast<int>(std::lround(middle.y));
    into.phases.resize(static_cast<std::size_t>(side * side));
    for (int phase = 0; phase < side * side; ++phase) {
        const double in_x = (phase % side + 0.5) / side - 0.5;
        const double in_y = (phase / side + 0.5) / side - 0.5;
        std::vector<Point>& points = into.phases[static_cast<std::size_t>(phase)];
        for (int y = middle_y - reach; y <= middle_y + reach; ++y) {
            for (int x = middle_x - reach; x <= middle_x + reach; ++x) {
                const SkyOffset away =
                    stage.plate.on_sky(x + in_x - stage.nucleus.x, y + in_y - stage.nucleus.y);
                const double light = light_at(away);
                if (light == 0.0) continue;
                points.push_back({x, y, light * stage.dust(away)});
                into.sum += light;
            }
        }
    }
}

void spread_out(const Sampled& part, const Stage& stage, double scale) {
    for (int phase = 0; phase < part.side * part.side; ++phase) {
        const std::vector<Point>& points = part.phases[static_cast<std::size_t>(phase)];
        if (points.empty()) continue;
        const auto kernel = stage.spread.kernel((phase % part.side + 0.5) / part.side - 0.5,
                                                (phase / part.side + 0.5) / part.side - 0.5, kernel_fwhm);
        for (const Point& point : points)
            spread_point(stage.map, point, scale, kernel);
    }
}

int side_for(double sigma_px) {
    return std::clamp(static_cast<int>(std::ceil(points_a_sigma / sigma_px)), 1, most_points_a_pixel_side);
}

double lane_sigma_px(const Stage& stage) {
    return stage.host.dust_lane->fwhm_arcsec / 2.3548 / stage.scale_arcsec_per_px /
           (1.0 + stage.host.dust_lane->depth_mag);  // a deep lane has steep walls
}

// Where a smooth profile has fine detail: arms that are wound tight near the nucleus, a lane. Between 1 and 0
// without an edge, so that what is sampled finely and the rest are both smooth.
double fine_share(const Stage& stage, const Exponential& profile, double arms_fine_arcsec,
                  const SkyOffset& away) {
    double coarse = 1.0;
    const auto close_within = [&](double widths2) {
        const double power = widths2 * widths2;
        if (power < farthest_fine_power) coarse *= 1.0 - std::exp(-power);
    };
    if (arms_fine_arcsec > 0.0) {
        const InPlane at = in_plane(profile, away);
        const double r2 = at.along_arcsec * at.along_arcsec + at.across_arcsec * at.across_arcsec;
        close_within(r2 / std::pow(fine_widths * arms_fine_arcsec, 2));
    }
    if (stage.host.dust_lane) {
        const double widths =
            from_lane_arcsec(*stage.host.dust_lane, away) / (fine_widths * stage.host.dust_lane->fwhm_arcsec);
        close_within(widths * widths);
    }
    return 1.0 - coarse;
}

void add_exponential(const Stage& stage, const Exponential& profile, const HostArms* arms) {
    const double scale_px = profile.scale_arcsec / stage.scale_arcsec_per_px;
    const double reach_px = farthest_scale_lengths * scale_px;
    if (scale_px < point_scale_px) {
        stage.spread.add_star(stage.map, stage.nucleus, profile.flux_e * stage.dust({}));
        return;
    }
    Sampled coarse, fine;
    coarse.side = fine.side =
        std::clamp(static_cast<int>(std::ceil(points_a_scale_length / (scale_px * profile.axis_ratio))), 1,
                   most_points_a_pixel_side);
    if (stage.host.dust_lane) fine.side = std::max(fine.side, side_for(lane_sigma_px(stage)));
    double arms_fine_arcsec = 0.0;
    if (arms != nullptr) {
        const double sigma_px =
            arm_sigma_arcsec(*arms, profile, profile.scale_arcsec) / stage.scale_arcsec_per_px;
        arms_fine_arcsec = profile.scale_arcsec * points_a_sigma / (sigma_px * coarse.side);
        fine.side = std::max(fine.side, side_for(0.5 * sigma_px));
    }
    const auto light_at = [&](const SkyOffset& away) {
        const double light = brightness(profile, away);
        return arms == nullptr || light == 0.0 ? light : light * arm_factor(*arms, profile, away);
    };
    if (fine.side == coarse.side) {
        sample(coarse, stage, stage.nucleus, reach_px, light_at);
        if (coarse.sum > 0.0) spread_out(coarse, stage, profile.flux_e / coarse.sum);
        return;
    }
    sample(coarse, stage, stage.nucleus, reach_px, [&](const SkyOffset& away) {
        const double share = 1.0 - fine_share(stage, profile, arms_fine_arcsec, away);
        return share == 0.0 ? 0.0 : share * light_at(away);
    });
    const double fine_reach_px = stage.host.dust_lane ? reach_px
                                                      : fine_widths * std::pow(farthest_fine_power, 0.25) *
                                                            arms_fine_arcsec / stage.scale_arcsec_per_px;
    sample(fine, stage, stage.nucleus, std::min(reach_px, fine_reach_px), [&](const SkyOffset& away) {
        const double share = fine_share(stage, profile, arms_fine_arcsec, away);
        return share == 0.0 ? 0.0 : share * light_at(away);
    });
    const double coarse_points = coarse.side * coarse.side, fine_points = fine.side * fine.side;
    const double sum = coarse.sum / coarse_points + fine.sum / fine_points;
    if (sum == 0.0) return;
    spread_out(coarse, stage, profile.flux_e / (sum * coarse_points));
    spread_out(fine, stage, profile.flux_e / (sum * fine_points));
}

// Every clump's light is that of its share, wherever it falls between the points.
void add_clumps(const Stage& stage, double disk_e) {
    for (int side = 1; side <= most_points_a_pixel_side; ++side) {
        Sampled all;
        all.side = side;
        all.phases.resize(static_cast<std::size_t>(side * side));
        for (const HostClump& clump : stage.host.clumps) {
            const double sigma_arcsec = clump.fwhm_arcsec / 2.3548;
            const double sigma_px = sigma_arcsec / stage.scale_arcsec_per_px;
            if (side_for(sigma_px) != side) continue;
            const frame::PixelPosition middle =
                stage.plate.truth(displaced(stage.host.nucleus, clump.from_nucleus));
            Sampled one;
            one.side = side;
            sample(one, stage, middle, farthest_sigma * sigma_px + 1.0, [&](const SkyOffset& away) {
                const double d = std::hypot((away.east - clump.from_nucleus.east).arcseconds(),
                                            (away.north - clump.from_nucleus.north).arcseconds()) /
                                 sigma_arcsec;
                return d > farthest_sigma ? 0.0 : std::exp(-0.5 * d * d);
            });
            if (one.sum == 0.0) continue;
            for (std::size_t phase = 0; phase < one.phases.size(); ++phase) {
                for (Point point : one.phases[phase]) {
                    point.light *= disk_e * clump.share / one.sum;
                    all.phases[phase].push_back(point);
                }
            }
        }
        spread_out(all, stage, 1.0);
    }
}

}  // namespace

void add_host(LightMap& map, const InventedHost& host, const HostLight& light, const Plate& plate,
              const Moffat& spread) {
    const frame::PixelPosition nucleus = plate.truth(host.nucleus);
    const SkyOffset one_px = plate.on_sky(1.0, 0.0);
    const Stage stage{map,    host,    plate,
                      spread, nucleus, std::hypot(one_px.east.arcseconds(), one_px.north.arcseconds())};
    const double reach_px = farthest_scale_lengths *
                            std::max(host.disk_scale_arcsec, host.bulge_scale_arcsec) /
                            stage.scale_arcsec_per_px;
    if (nucleus.x < -reach_px || nucleus.x > map.width_px + reach_px || nucleus.y < -reach_px ||
        nucleus.y > map.height_px + reach_px) {
        return;
    }
    double smooth_share = 1.0;
    for (const HostClump& clump : host.clumps)
        smooth_share -= clump.share;
    add_exponential(stage,
                    {.flux_e = light.disk_e * smooth_share,
                     .scale_arcsec = host.disk_scale_arcsec,
                     .axis_ratio = host.disk_axis_ratio,
                     .angle_deg = host.disk_angle_deg},
                    host.arms ? &*host.arms : nullptr);
    add_exponential(stage, {.flux_e = light.bulge_e, .scale_arcsec = host.bulge_scale_arcsec}, nullptr);
    add_clumps(stage, light.disk_e);
    if (light.nucleus_e > 0.0) spread.add_star(map, nucleus, light.nucleus_e * stage.dust({}));
}

}  // namespace emberline::rehearsal
