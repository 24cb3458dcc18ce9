// SPDX-License-Identifier: MIT
// Notation: s scatter of a sky pixel, n pixels kept, u and v pixel offsets from the star.
#include "photometry/local_sky.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr std::size_t least_pixels = 30;
// Stars and cosmic rays only ever add light, so the bright side is clipped harder.
constexpr double clip_low = 3.0, clip_high = 2.5;
constexpr double plane_chi2 = 28.7;    // two slopes together significant at 5 sigma
constexpr double crowded_share = 0.5;  // of the annulus clipped away
constexpr double whole_share = 0.98;   // of the annulus must lie on the frame
constexpr int sectors = 8, rings = 2;
constexpr double least_in_cell = 5.0;

struct SkyPixel {
    float u, v, adu;
};

struct Gathered {
    std::vector<SkyPixel> pixels;
    double offered_px = 0.0;  // pixels the annulus would have on an endless frame
};

Gathered gather(const frame::Cutout& cutout, const frame::PixelPosition& centre, const Annulus& annulus) {
    Gathered out;
    const double inner2 = annulus.inner_px * annulus.inner_px, outer2 = annulus.outer_px * annulus.outer_px;
    out.offered_px = std::numbers::pi * (outer2 - inner2);
    out.pixels.reserve(static_cast<std::size_t>(out.offered_px * 1.1) + 8);
    const frame::PixelBox& box = cutout.box;
    const int first = std::max(box.y0, static_cast<int>(std::ceil(centre.y - annulus.outer_px)));
    const int last =
        std::min(box.y0 + box.height - 1, static_cast<int>(std::floor(centre.y + annulus.outer_px)));
    for (int y = first; y <= last; ++y) {
        const double v = y - centre.y;
        const double half = std::sqrt(std::max(outer2 - v * v, 0.0));
        const int x_first = std::max(box.x0, static_cast<int>(std::ceil(centre.x - half)));
        const int x_last = std::min(box.x0 + box.width - 1, static_cast<int>(std::floor(centre.x + half)));
        for (int x = x_first; x <= x_last; ++x) {
            const double u = x - centre.x;
            if (u * u + v * v < inner2) continue;
            const float adu = cutout.at(x, y);
            if (std::isfinite(adu)) out.pixels.push_back({static_cast<float>(u), static_cast<float>(v), adu});
        }
    }
    return out;
}

// Level and slopes; slopes are zero until a plane is fitted.
struct Plane {
    double level = 0.0, u = 0.0, v = 0.0;
    double level_variance_factor = 0.0;  // of the level at the centre, in units of s²
    [[nodiscard]] double at(const SkyPixel& p) const {
        return level + u * static_cast<double>(p.u) + v * static_cast<double>(p.v);
    }
};

struct Kept {
    std::vector<const SkyPixel*> pixels;
    double sigma = 0.0;      // of a Gaussian sky
    double own_sigma = 0.0;  // standard deviation of what was kept
};

Kept clip(const std::vector<SkyPixel>& pixels, Plane& plane) {
    std::vector<double> rest;
    rest.reserve(pixels.size());
    for (const SkyPixel& p : pixels)
        rest.push_back(static_cast<double>(p.adu) - plane.at(p));
    const numerics::ClippedMean mean = numerics::clipped_mean(rest, clip_low, clip_high);
    plane.level += mean.mean;
    Kept kept;
    kept.sigma = mean.sigma;
    double squares = 0.0;
    for (std::size_t i = 0; i < pixels.size(); ++i) {
        const double d = rest[i] - mean.mean;
        if (mean.sigma > 0.0 && (d < -clip_low * mean.sigma || d > clip_high * mean.sigma)) continue;
        kept.pixels.push_back(&pixels[i]);
        squares += d * d;
    }
    kept.own_sigma = std::sqrt(squares / static_cast<double>(std::max<std::size_t>(kept.pixels.size(), 1)));
    return kept;
}

// Least squares for a plane through the kept pixels; significance of its slopes as chi² of two.
double fit_plane(const Kept& kept, Plane& plane) {
    double n = 0.0, su = 0.0, sv = 0.0, suu = 0.0, suv = 0.0, svv = 0.0, sr = 0.0, sur = 0.0, svr = 0.0;
    for (const SkyPixel* p : kept.pixels) {
        const double u = static_cast<double>(p->u), v = static_cast<double>(p->v);
        const double r = static_cast<double>(p->adu) - plane.at(*p);
        n += 1.0;
        su += u;
        sv += v;
        suu += u * u;
        suv += u * v;
        svv += v * v;
        sr += r;
        sur += u * r;
        svr += v * r;
    }
    // About the mean place of the pixels, where level and slopes do not mix.
    const double mu = su / n, mv = sv / n;
    const double cuu = suu - n * mu * mu, cuv = suv - n * mu * mv, cvv = svv - n * mv * mv;
    const double ru = sur - mu * sr, rv = svr - mv * sr;
    const double determinant = cuu * cvv - cuv * cuv;
    if (!(determinant > 0.0) || !(kept.own_sigma > 0.0)) return 0.0;
    const double slope_u = (cvv * ru - cuv * rv) / determinant, slope_v = (cuu * rv - cuv * ru) / determinant;
    plane.u += slope_u;
    plane.v += slope_v;
    plane.level += sr / n - slope_u * mu - slope_v * mv;
    plane.level_variance_factor =
        1.0 / n + (mu * mu * cvv - 2.0 * mu * mv * cuv + mv * mv * cuu) / determinant;
    return (slope_u * ru + slope_v * rv) / (kept.own_sigma * kept.own_sigma);
}

double unevenness_of(const Kept& kept, const Plane& plane, const Annulus& annulus, bool sloped) {
    struct Cell {
        double n = 0.0, sum = 0.0;
    };
    std::array<Cell, sectors * rings> cells{};
    const double middle2 = 0.5 * (annulus.inner_px * annulus.inner_px + annulus.outer_px * annulus.outer_px);
    for (const SkyPixel* p : kept.pixels) {
        const double u = static_cast<double>(p->u), v = static_cast<double>(p->v);
        const double turn = std::atan2(v, u) / (2.0 * std::numbers::pi) + 0.5;
        const int sector = std::min(sectors - 1, static_cast<int>(turn * sectors));
        const int ring = u * u + v * v < middle2 ? 0 : 1;
        Cell& cell = cells[static_cast<std::size_t>(ring * sectors + sector)];
        cell.n += 1.0;
        cell.sum += static_cast<double>(p->adu) - plane.at(*p);
    }
    double chi2 = 0.0, used = 0.0;
    for (const Cell& cell : cells) {
        if (cell.n < least_in_cell) continue;
        chi2 += cell.sum * cell.sum / (cell.n * kept.own_sigma * kept.own_sigma);
        used += 1.0;
    }
    const double degrees = used - (sloped ? 3.0 : 1.0);
    return kept.own_sigma > 0.0 && degrees > 0.0 ? chi2 / degrees : 0.0;
}

}  // namespace

Result<SkyEstimate> estimate_sky(const frame::Cutout& cutout, const frame::PixelPosition& centre,
                                 const Annulus& annulus) {
    const Gathered found = gather(cutout, centre, annulus);
    if (found.pixels.size() < least_pixels) {
        return fail({.what = fmt::format("The annulus has {} usable pixels; {} are needed.",
                                         found.pixels.size(), least_pixels),
                     .where = fmt::format("local sky about ({:.1f}, {:.1f})", centre.x, centre.y),
                     .mend = "Widen the annulus, or leave this star out: it is too near the edge."});
    }
    SkyEstimate sky;
    Plane flat;
    Kept kept = clip(found.pixels, flat);
    Plane tilted = flat;
    const bool sloped = fit_plane(kept, tilted) > plane_chi2;
    Plane plane = flat;
    if (sloped) {
        plane = tilted;
        kept = clip(found.pixels, plane);  // what the slope had pushed over the clip comes back
        fit_plane(kept, plane);
        sky.caveats.add(Caveat::sky_gradient);
    }
    sky.level_adu = plane.level;
    sky.slope_x_adu = plane.u;
    sky.slope_y_adu = plane.v;
    sky.scatter_adu = kept.sigma;
    sky.pixels = static_cast<double>(kept.pixels.size());
    const double factor = sloped ? plane.level_variance_factor : 1.0 / sky.pixels;
    sky.level_err_adu = sky.scatter_adu * std::sqrt(factor);
    sky.factor = factor * sky.pixels;
    sky.unevenness = unevenness_of(kept, plane, annulus, sloped);
    const auto all = static_cast<double>(found.pixels.size());
    if (sky.pixels < crowded_share * all) sky.caveats.add(Caveat::crowded_sky);
    if (all < whole_share * found.offered_px - 4.0 * annulus.outer_px * 0.1) sky.caveats.add(Caveat::edge);
    return sky;
}

}  // namespace emberline::photometry
