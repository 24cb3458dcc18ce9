// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "standard/transformation.hpp"

namespace emberline::standard {
namespace {

constexpr double below_sigma = 3.0, above_sigma = 4.0;
constexpr double told_cloud_mag = 0.01;     // one sigma: less cannot be told from the air's unrest
constexpr double least_scatter_mag = 1e-9;  // errors of 0 must not divide

struct Line {
    double outside_mag, extinction;
    [[nodiscard]] double at(double airmass) const { return outside_mag - extinction * airmass; }
};

// The middle of all pairs' slopes (Theil 1950; Sen 1968, JASA 63, 1379), then an intercept that clouds do not
// reach: half of the points may be wrong on one side.
Line first_line(const std::vector<AirPoint>& points) {
    std::vector<double> slopes;
    for (std::size_t i = 0; i < points.size(); ++i) {
        for (std::size_t j = 0; j < i; ++j) {
            const double step = points[i].airmass - points[j].airmass;
            if (std::abs(step) > 0.25 * least_airmass_span)
                slopes.push_back((points[i].zero_point_mag - points[j].zero_point_mag) / step);
        }
    }
    const double slope = numerics::median(std::move(slopes));
    std::vector<double> heights;
    for (const AirPoint& p : points)
        heights.push_back(p.zero_point_mag - slope * p.airmass);
    return {numerics::median(std::move(heights)), -slope};
}

Result<numerics::LinearFit> weighted_line(const std::vector<AirPoint>& points, const std::vector<bool>& used,
                                          double scatter_mag) {
    const auto n = static_cast<std::size_t>(std::count(used.begin(), used.end(), true));
    numerics::Matrix a(n, 2);
    std::vector<double> y, w;
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (!used[i]) continue;
        a(y.size(), 0) = 1.0;
        a(y.size(), 1) = -points[i].airmass;
        y.push_back(points[i].zero_point_mag);
        const double err = std::hypot(points[i].err_mag, scatter_mag, least_scatter_mag);
        w.push_back(1.0 / (err * err));
    }
    return numerics::linear_fit(a, y, w);
}

// The scatter with which the points' χ² is what it should be; 0 where their errors suffice.
Result<double> scatter_beyond(const std::vector<AirPoint>& points, const std::vector<bool>& used) {
    const auto excess = [&](double scatter) -> Result<double> {
        const auto fit = weighted_line(points, used, scatter);
        if (!fit) return fail(fit.error());
        return fit->chi2 - static_cast<double>(fit->dof);
    };
    double low = 0.0, high = 2.0;
    const auto none = excess(low);
    if (!none) return fail(none.error());
    if (*none <= 0.0) return 0.0;
    for (int k = 0; k < 50; ++k) {
        const double middle = 0.5 * (low + high);
        const auto here = excess(middle);
        if (!here) return fail(here.error());
        (*here > 0.0 ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

Problem too_few(std::size_t frames, std::size_t offered) {
    return {.what = fmt::format("{} frames of {} can tell the extinction; {} are needed.", frames, offered,
                                least_extinction_frames),
            .mend = "Take more frames of the field, from high to low, on a night without cloud."};
}

}  // namespace

Result<ExtinctionLine> fit_extinction(const std::vector<AirPoint>& points) {
    if (points.size() < least_extinction_frames) return fail(too_few(points.size(), points.size()));
    const auto [low, high] =
        std::minmax_element(points.begin(), points.end(),
                            [](const AirPoint& a, const AirPoint& b) { return a.airmass < b.airmass; });
    const double offered_span = high->airmass - low->airmass;
    const auto too_narrow = [](double span) {
        return Problem{.what = fmt::format("The airmass changes by {:.2f} only; {:.1f} is needed.", span,
                                           least_airmass_span),
                       .mend = "Take frames of a field high in the sky and again when it is low."};
    };
    if (offered_span < least_airmass_span) return fail(too_narrow(offered_span));
    ExtinctionLine out;
    Line line = first_line(points);
    // The median absolute deviation of n values is known to 1.17/√n of itself: twice that above 1.
    const double doubt = 1.0 + 2.0 * 1.17 / std::sqrt(static_cast<double>(points.size()));
    out.used.assign(points.size(), true);
    for (int round = 0; round < 20; ++round) {
        std::vector<double> apart;
        for (const AirPoint& p : points)
            apart.push_back(p.zero_point_mag - line.at(p.airmass));
        const double middle = numerics::median(apart);
        const double spread =
            numerics::mad_to_sigma * numerics::median_absolute_deviation(apart, middle) * doubt;
        std::vector<bool> used(points.size());
        for (std::size_t i = 0; i < points.size(); ++i) {
            const double sigma = std::max({spread, points[i].err_mag, told_cloud_mag});
            used[i] = apart[i] - middle > -below_sigma * sigma && apart[i] - middle < above_sigma * sigma;
        }
        const bool settled = round > 0 && used == out.used;
        out.used = used;
        const auto kept = static_cast<std::size_t>(std::count(used.begin(), used.end(), true));
        if (kept < least_extinction_frames) return fail(too_few(kept, points.size()));
        const auto scatter = scatter_beyond(points, used);
        if (!scatter) return fail(scatter.error());
        const auto fit = weighted_line(points, used, *scatter);
        if (!fit) return fail(fit.error());
        line = {fit->parameters[0], fit->parameters[1]};
        out.extinction = {fit->parameters[1], std::sqrt(fit->covariance(1, 1))};
        out.outside_mag = fit->parameters[0];
        out.scatter_mag = *scatter;
        out.frames = kept;
        if (settled) break;
    }
    out.airmass_low = HUGE_VAL;
    out.airmass_high = -HUGE_VAL;
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (!out.used[i]) continue;
        out.airmass_low = std::min(out.airmass_low, points[i].airmass);
        out.airmass_high = std::max(out.airmass_high, points[i].airmass);
    }
    if (out.airmass_high - out.airmass_low < least_airmass_span)
        return fail(too_narrow(out.airmass_high - out.airmass_low));
    return out;
}

}  // namespace emberline::standard
