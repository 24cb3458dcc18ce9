// SPDX-License-Identifier: MIT
// Notation: s scatter of a sky pixel, n pixels kept, u and v pixel offsets from the star.
// Left out on evidence: masking compact sources before clipping lowers the bias that faint stars in the
// annulus bring by a third, but what is masked differs from frame to frame, and a real transit scattered 10 %
// more.
#include "photometry/local_sky.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr std::size_t least_pixels = 30;
// Stars and cosmic rays only ever add light, so the bright side is clipped harder. Not harder than this:
// counts of a dark sky are skewed, and at 20 electrons a clip at 2.5 sigma costs half of the level's error,
// this one a fifth.
constexpr double clip_low = 4.0, clip_high = 3.0;
constexpr double plane_chi2 = 28.7;    // two slopes together significant at 5 sigma
constexpr double crowded_share = 0.5;  // of the annulus clipped away
constexpr int octants = 8, rings = 2;
constexpr double least_in_cell = 5.0;

// One defined pixel of the annulus: offset from the star, and its light.
struct SkyPixel {
    float u, v, adu;
};

struct Gathered {
    std::vector<SkyPixel> pixels;
    bool cut = false;  // by the edge
};

Gathered gather(const frame::Cutout& cutout, const frame::PixelPosition& centre, const Annulus& annulus) {
    Gathered out;
    const frame::PixelBox& box = cutout.box;
    const double outer = annulus.outer_px;
    const double inner2 = annulus.inner_px * annulus.inner_px, outer2 = outer * outer;
    const double left = std::ceil(centre.x - outer), right = std::floor(centre.x + outer);
    const double low = std::ceil(centre.y - outer), high = std::floor(centre.y + outer);
    const double box_right = box.x0 + box.width - 1.0, box_top = box.y0 + box.height - 1.0;
    out.cut = left < box.x0 || right > box_right || low < box.y0 || high > box_top;
    const int x_first = static_cast<int>(std::clamp(left, box.x0 + 0.0, box_right));
    const int x_last = static_cast<int>(std::clamp(right, box.x0 + 0.0, box_right));
    const int y_first = static_cast<int>(std::clamp(low, box.y0 + 0.0, box_top));
    const int y_last = static_cast<int>(std::clamp(high, box.y0 + 0.0, box_top));
    out.pixels.reserve(static_cast<std::size_t>(x_last - x_first + 1) *
                       static_cast<std::size_t>(y_last - y_first + 1));
    for (int y = y_first; y <= y_last; ++y) {
        const double v = y - centre.y;
        for (int x = x_first; x <= x_last; ++x) {
            const double u = x - centre.x, r2 = u * u + v * v;
            if (r2 < inner2 || r2 > outer2) continue;
            const float adu = cutout.at(x, y);
            if (!std::isfinite(adu)) continue;
            out.pixels.push_back({static_cast<float>(u), static_cast<float>(v), adu});
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
    double own_mean = 0.0;  // … and its mean above the plane: a clip that is harder above leaves less than 0
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
    kept.pixels.reserve(rest.size());
    double sum = 0.0, squares = 0.0;
    for (std::size_t i = 0; i < pixels.size(); ++i) {
        const double d = rest[i] - mean.mean;
        if (d < -clip_low * mean.sigma || d > clip_high * mean.sigma) continue;
        kept.pixels.push_back(&pixels[i]);
        sum += d;
        squares += d * d;
    }
    const auto n = static_cast<double>(std::max<std::size_t>(kept.pixels.size(), 1));
    kept.own_mean = sum / n;
    kept.own_sigma = std::sqrt(std::max(squares / n - kept.own_mean * kept.own_mean, 0.0));
    return kept;
}

// Least squares for a plane through the kept pixels; significance of its slopes as chi² of two. The level of
// their mean place stays what clipping found, since their plain mean lacks the bright side.
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
    plane.level -= slope_u * mu + slope_v * mv;
    plane.level_variance_factor =
        1.0 / n + (mu * mu * cvv - 2.0 * mu * mv * cuv + mv * mv * cuu) / determinant;
    return (slope_u * ru + slope_v * rv) / (kept.own_sigma * kept.own_sigma);
}

double unevenness_of(const Kept& kept, const Plane& plane, const Annulus& annulus, bool sloped) {
    struct Cell {
        double n = 0.0, sum = 0.0;
    };
    std::array<Cell, octants * rings> cells{};
    const double middle2 = 0.5 * (annulus.inner_px * annulus.inner_px + annulus.outer_px * annulus.outer_px);
    for (const SkyPixel* p : kept.pixels) {
        const double u = static_cast<double>(p->u), v = static_cast<double>(p->v);
        const int octant = (u < 0.0 ? 1 : 0) + (v < 0.0 ? 2 : 0) + (std::abs(u) < std::abs(v) ? 4 : 0);
        const int ring = u * u + v * v < middle2 ? 0 : 1;
        Cell& cell = cells[static_cast<std::size_t>(ring * octants + octant)];
        cell.n += 1.0;
        cell.sum += static_cast<double>(p->adu) - plane.at(*p) - kept.own_mean;
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
    const auto refuse = [&](std::string what) {
        return fail({.what = std::move(what),
                     .where = fmt::format("local sky about ({:.1f}, {:.1f})", centre.x, centre.y),
                     .mend = "Widen the annulus, or leave this star out: it is too near the edge."});
    };
    const bool sensible = std::isfinite(centre.x) && std::isfinite(centre.y) && annulus.inner_px >= 0.0 &&
                          annulus.outer_px > annulus.inner_px && std::isfinite(annulus.outer_px);
    if (!sensible) return refuse("The annulus has no place or no width.");
    Gathered found;
    if (!cutout.box.empty()) found = gather(cutout, centre, annulus);
    if (found.pixels.size() < least_pixels) {
        return refuse(fmt::format("The annulus has {} usable pixels; {} are needed.", found.pixels.size(),
                                  least_pixels));
    }
    SkyEstimate sky;
    Plane plane;
    Kept kept = clip(found.pixels, plane);
    Plane tilted = plane;
    const bool sloped = fit_plane(kept, tilted) > plane_chi2;
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
    if (sky.pixels < crowded_share * static_cast<double>(found.pixels.size()))
        sky.caveats.add(Caveat::crowded_sky);
    if (found.cut) sky.caveats.add(Caveat::edge);
    return sky;
}

}  // namespace emberline::photometry
