// SPDX-License-Identifier: MIT
#include "lightcurve/every_fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "quantities/instant.hpp"

namespace emberline::lightcurve {
namespace {

// Two points closer than this say nothing about a rate, and a Julian date in a double resolves 40 µs.
constexpr double same_time_d = 1.0 / seconds_per_day;
// Longer than any plate archive: a curve that spans this mixes Julian dates with modified ones.
constexpr double absurd_span_d = 100000.0;

bool is_detection(const Point& point) {
    if (point.is_limit) return false;
    return point.flux ? point.flux->value > 0.0 : true;
}

}  // namespace

Problem in_curve(const LightCurve& curve, Problem problem) {
    return curve.band.empty() ? problem : at("Light curve in " + curve.band.name(), std::move(problem));
}

Result<void> check_options(const FitOptions& options) {
    for (const auto& end : {options.from_bjd_tdb, options.to_bjd_tdb}) {
        if (end && !std::isfinite(*end)) {
            return fail({.what = "An end of the interval to fit is not a number.",
                         .where = {},
                         .mend = "Give a Julian date, or leave that end open.",
                         .kind = ProblemKind::request});
        }
    }
    if (options.from_bjd_tdb && options.to_bjd_tdb && *options.from_bjd_tdb > *options.to_bjd_tdb) {
        return fail({.what = "The interval to fit ends before it begins.",
                     .where = fmt::format("from {} to {}", *options.from_bjd_tdb, *options.to_bjd_tdb),
                     .mend = "Exchange the two dates.",
                     .kind = ProblemKind::request});
    }
    return {};
}

Result<void> check_points(const LightCurve& curve, const std::vector<std::size_t>& used,
                          const std::string& model, std::size_t needed) {
    std::size_t found = 0;
    std::vector<double> times;
    for (const std::size_t i : used) {
        if (const auto good = check_point(curve, i); !good) return good;
        times.push_back(curve.points[i].bjd_tdb);
        if (is_detection(curve.points[i])) ++found;
    }
    if (found == 0 && !used.empty()) {
        return fail({.what = fmt::format("None of the {} points is a detection: limits alone fix no model.",
                                         used.size()),
                     .where = {},
                     .mend = "Widen the range of dates, or combine more frames a night."});
    }
    if (found < std::max<std::size_t>(needed, 1)) {
        return fail({.what = fmt::format("The model {} needs {} detections, and there {} {}.", model, needed,
                                         found == 1 ? "is" : "are", found),
                     .where = {},
                     .mend = "Wait for more nights, widen the range of dates, or choose a simpler model."});
    }
    const auto [first, last] = std::minmax_element(times.begin(), times.end());
    if (*last - *first > absurd_span_d) {
        return fail(
            {.what = fmt::format("The times span {:.0f} days: two ways of counting days seem to be mixed.",
                                 *last - *first),
             .where = fmt::format("from {:.4f} to {:.4f}", *first, *last),
             .mend = "Give all times as Julian dates (a modified one plus 2400000.5)."});
    }
    if (needed > 1 && *last - *first < same_time_d) {
        return fail({.what = "All points were taken at one time: they say nothing about a change.",
                     .where = {},
                     .mend = "Add another night."});
    }
    return {};
}

double weighted_mean_time(const LightCurve& curve, const std::vector<std::size_t>& used) {
    const double origin = curve.points[used.front()].bjd_tdb;  // keeps the sum's rounding small
    double sum_w = 0.0, sum_wt = 0.0;
    for (const std::size_t i : used) {
        const Point& point = curve.points[i];
        if (point.is_limit && !point.flux) continue;
        const double err_mag = point.flux ? mag_per_relative_flux * point.flux->err /
                                                std::max(point.flux->value, point.flux->err)
                                          : *point.random_err_mag;
        const double w = 1.0 / (err_mag * err_mag);
        sum_w += w;
        sum_wt += w * (point.bjd_tdb - origin);
    }
    return origin + sum_wt / sum_w;
}

void set_criteria(CurveFit& fit, std::size_t free_parameters) {
    const double free = static_cast<double>(free_parameters) + (fit.extra_scatter_mag > 0.0 ? 1.0 : 0.0) +
                        (fit.student_nu ? 1.0 : 0.0);
    const double n = static_cast<double>(fit.n);
    fit.bic = fit.minus_two_log_likelihood + free * std::log(n);
    fit.aicc = n > free + 1.0 ? fit.minus_two_log_likelihood + 2.0 * free * n / (n - free - 1.0) : HUGE_VAL;
}

void remark_on_scatter(CurveFit& fit, double chi2_before) {
    if (fit.extra_scatter_mag > 0.0) {
        fit.remarks.push_back(
            fmt::format("The points scatter more than their errors (chi2 {:.1f} for {} degrees of freedom): "
                        "{:.3f} mag were added in quadrature to each random error.",
                        chi2_before, fit.dof, fit.extra_scatter_mag));
    } else if (fit.dof > 0 && fit.chi2 > 4.0 * static_cast<double>(fit.dof)) {
        fit.remarks.push_back(
            fmt::format("The points scatter more than their errors (chi2 {:.1f} for {} degrees of freedom), "
                        "and nothing was added to them: the errors of this fit are too small.",
                        fit.chi2, fit.dof));
    }
}

void remark_on_outliers(CurveFit& fit) {
    const std::string tails =
        fit.student_nu
            ? fmt::format(" (errors with tails: Student's t, {:.0f} degrees of freedom)", *fit.student_nu)
            : std::string();
    const auto outliers = std::count_if(fit.points.begin(), fit.points.end(),
                                        [](const FitPoint& p) { return p.weight > 0.0 && p.weight < 0.5; });
    if (outliers > 0) {
        fit.remarks.push_back(
            fmt::format("{} away from the others and {} little{}.",
                        outliers == 1 ? "1 point lies" : fmt::format("{} points lie", outliers),
                        outliers == 1 ? "counts" : "count", tails));
    } else if (fit.student_nu) {
        fit.remarks.push_back(
            fmt::format("Some points lie further out than Gaussian errors allow{}.", tails));
    }
}

}  // namespace emberline::lightcurve
