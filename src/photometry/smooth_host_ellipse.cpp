// SPDX-License-Identifier: MIT
#include "photometry/smooth_host_ellipse.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/matrix.hpp"

namespace emberline::photometry::smooth {
namespace {

constexpr double knot_step = 0.45;       // of asinh(a / a₀)
constexpr double shape_prior = 0.5;      // one sigma of s₁, s₂
constexpr double most_shape = 1.6;       // |s|: axis ratio 1 : 5
constexpr double structure_share = 0.1;  // of the local light that no ellipse follows
constexpr double focus_width = 0.6;      // in ln a, about the transient's isophote
constexpr double outlier_sigmas = 4.0;
constexpr int most_rounds = 12;
constexpr std::size_t shape_count = 4;  // x₀, y₀, s₁, s₂

}  // namespace

Ellipse::Root Ellipse::root() const {
    const double s = std::hypot(s1, s2);
    const double c = std::cosh(0.5 * s), f = s > 1e-9 ? std::sinh(0.5 * s) / s : 0.5;
    return {centre, c + f * s1, f * s2, c - f * s1};
}

frame::PixelPosition Ellipse::round(const frame::PixelPosition& place) const {
    return root().round(place);
}

frame::PixelPosition Ellipse::place(double radius_px, double azimuth_rad) const {
    const Ellipse back{{0.0, 0.0}, -s1, -s2};
    const auto d = back.round({radius_px * std::cos(azimuth_rad), radius_px * std::sin(azimuth_rad)});
    return {centre.x + d.x, centre.y + d.y};
}

double Ellipse::radius(const frame::PixelPosition& place) const {
    return root().radius(place);
}

RadialSplines::RadialSplines(double core_px, double step, double to_px)
    : core_px_(core_px),
      step_(step),
      count_(static_cast<std::size_t>(std::ceil(std::asinh(to_px / core_px) / step)) + 3) {}

RadialSplines::At RadialSplines::at(double radius_px) const {
    const double top = static_cast<double>(count_ - 3);
    const double u = std::min(std::asinh(radius_px / core_px_) / step_, top);
    At out;
    out.first = static_cast<std::size_t>(std::min(std::floor(u), top - 1.0));
    const double t = u - static_cast<double>(out.first), r = 1.0 - t;
    out.value = {r * r * r / 6.0, (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0,
                 (3.0 * r * r * r - 6.0 * r * r + 4.0) / 6.0, t * t * t / 6.0};
    const double du = 1.0 / (step_ * std::sqrt(radius_px * radius_px + core_px_ * core_px_));
    out.slope = {-0.5 * r * r * du, (1.5 * t * t - 2.0 * t) * du, (2.0 * r - 1.5 * r * r) * du,
                 0.5 * t * t * du};
    return out;
}

double Profile::light_adu(double radius_px) const {
    const RadialSplines::At at = splines.at(radius_px);
    double light = 0.0;
    for (std::size_t k = 0; k < 4; ++k)
        light += at.value[k] * coefficients_adu[at.first + k];
    return light;
}

namespace {

Ellipse moved(const Ellipse& e, std::size_t which, double by) {
    Ellipse out = e;
    double* const parts[shape_count] = {&out.centre.x, &out.centre.y, &out.s1, &out.s2};
    *parts[which] += by;
    return out;
}

// One linear step; the greatest change of a shape number, relative to what matters, is returned.
double improve(Profile& profile, const PixelMap& pixels, const frame::PixelPosition& nucleus,
               const ProfileOptions& options, bool reject, bool shapes) {
    const std::size_t splines = profile.splines.count(), free = shapes ? shape_count : 0;
    numerics::Matrix normal(splines + free, splines + free);
    std::vector<double> right(splines + free, 0.0);
    const Ellipse& e = profile.ellipse;
    const double step[shape_count] = {0.05, 0.05, 0.01, 0.01};
    const Ellipse::Root root = e.root();
    std::array<Ellipse::Root, shape_count> other{};
    for (std::size_t j = 0; j < free; ++j)
        other[j] = moved(e, j, step[j]).root();
    const double focus = e.radius(options.focus) + options.fwhm_px;
    std::array<double, 4 + shape_count> value{};
    std::array<std::size_t, 4 + shape_count> column{};
    for (std::size_t i = 0; i < pixels.size(); ++i) {
        if (pixels.used[i] == 0) continue;
        const frame::PixelPosition p = pixels.place(i);
        const double a = root.radius(p);
        const RadialSplines::At at = profile.splines.at(a);
        double light = 0.0, slope = 0.0;
        for (std::size_t k = 0; k < 4; ++k) {
            light += at.value[k] * profile.coefficients_adu[at.first + k];
            slope += at.slope[k] * profile.coefficients_adu[at.first + k];
        }
        const double far = std::log((a + options.fwhm_px) / focus) / focus_width;
        const double rough = structure_share * light;
        const double variance = (pixels.variance_adu2[i] + rough * rough) * (1.0 + far * far);
        const double residual = pixels.light_adu[i] - light;
        if (reject && residual * residual > outlier_sigmas * outlier_sigmas * variance) continue;
        const double weight = 1.0 / variance;
        for (std::size_t k = 0; k < 4; ++k) {
            value[k] = at.value[k];
            column[k] = at.first + k;
        }
        for (std::size_t j = 0; j < free; ++j) {
            value[4 + j] = slope * (other[j].radius(p) - a) / step[j];
            column[4 + j] = splines + j;
        }
        for (std::size_t k = 0; k < 4 + free; ++k) {
            const double wv = weight * value[k];
            right[column[k]] += wv * residual;
            for (std::size_t m = 0; m <= k; ++m)
                normal(column[k], column[m]) += wv * value[m];
        }
    }
    const double centre_weight =
        1.0 / (options.centre_err_px * options.centre_err_px + 0.01 * options.fwhm_px * options.fwhm_px);
    const double shape_weight = 1.0 / (shape_prior * shape_prior);
    const double offset[shape_count] = {e.centre.x - nucleus.x, e.centre.y - nucleus.y, e.s1, e.s2};
    for (std::size_t j = 0; j < free; ++j) {
        const double weight = j < 2 ? centre_weight : shape_weight;
        normal(splines + j, splines + j) += weight;
        right[splines + j] -= weight * offset[j];
    }
    double largest = 0.0;
    for (std::size_t k = 0; k < splines; ++k)
        largest = std::max(largest, normal(k, k));
    for (std::size_t k = 0; k < splines + free; ++k) {
        if (k < splines) normal(k, k) += 1e-9 * largest;
        for (std::size_t m = 0; m < k; ++m)
            normal(m, k) = normal(k, m);
    }
    const std::vector<double> change = numerics::solve_cholesky(numerics::cholesky_lower(normal), right);
    if (std::any_of(change.begin(), change.end(), [](double c) { return !std::isfinite(c); })) return 0.0;
    for (std::size_t k = 0; k < splines; ++k)
        profile.coefficients_adu[k] += change[k];
    double moved_by = 0.0;
    if (shapes) {
        const auto bounded = [&](std::size_t j, double most) {
            const double by = std::clamp(change[splines + j], -most, most);
            moved_by = std::max(moved_by, std::abs(by) / most);
            profile.ellipse = moved(profile.ellipse, j, by);
        };
        for (std::size_t j = 0; j < shape_count; ++j)
            bounded(j, j < 2 ? 0.2 * options.fwhm_px : 0.3);
        Ellipse& now = profile.ellipse;
        const double s = std::hypot(now.s1, now.s2);
        if (s > most_shape) {
            now.s1 *= most_shape / s;
            now.s2 *= most_shape / s;
        }
    }
    return moved_by;
}

}  // namespace

Profile fit_profile(const PixelMap& pixels, const frame::PixelPosition& nucleus,
                    const ProfileOptions& options) {
    const frame::PixelBox& box = pixels.box;
    double reach = options.fwhm_px;
    for (const double x : {box.x0 + 0.0, box.x0 + box.width + 0.0}) {
        for (const double y : {box.y0 + 0.0, box.y0 + box.height + 0.0})
            reach = std::max(reach, std::hypot(x - nucleus.x, y - nucleus.y));
    }
    const RadialSplines splines(1.5 * options.fwhm_px, knot_step, 1.5 * reach);
    Profile profile{{nucleus, 0.0, 0.0}, splines, std::vector<double>(splines.count(), 0.0)};
    improve(profile, pixels, nucleus, options, false, false);
    for (int round = 0; round < most_rounds; ++round) {
        const double moved_by = improve(profile, pixels, nucleus, options, round > 2, true);
        if (round > 4 && moved_by < 0.01) break;
    }
    return profile;
}

}  // namespace emberline::photometry::smooth
