// SPDX-License-Identifier: MIT
// The network's Extended format as series: its lines are read by the validator, whoever wrote them.
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "exchange/network_report.hpp"
#include "exchange/series_formats.hpp"
#include "exchange/series_points.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

Problem problem_of_line(const CheckedReport& checked, std::size_t line, const std::string& source) {
    const auto found = std::find_if(checked.findings.begin(), checked.findings.end(),
                                    [&](const Finding& f) { return f.error && f.line == line; });
    Problem problem{.what = "The line is no observation.",
                    .where = fmt::format("{}, line {}", source, line),
                    .mend = "Mend it, or put a '#' before it."};
    if (found != checked.findings.end()) {
        problem.what = found->what;
        if (!found->field.empty()) problem.where += fmt::format(", field {}", found->field);
    }
    return problem;
}

// A light curve is of one star.
Result<void> check_star(const NetworkReport& report, const std::string& source) {
    std::set<std::string> stars;
    for (const NetworkObservation& o : report.observations)
        stars.insert(upper_case(o.star));
    if (stars.size() <= 1) return {};
    return fail({.what = fmt::format("The report is of {} stars, {} and {} among them.", stars.size(),
                                     *stars.begin(), *std::next(stars.begin())),
                 .where = source,
                 .mend = "Keep the lines of one of them."});
}

}  // namespace

Result<Series> series_of_network(std::string_view text, const std::string& source) {
    const CheckedReport checked = check_network_report(text);
    if (auto good = check_star(checked.report, source); !good) return fail(good.error());
    SeriesPoints points(source);
    for (const std::size_t line : checked.unread)
        points.leave_out(problem_of_line(checked, line, source));
    const NetworkHeader& header = checked.report.header;
    for (std::size_t i = 0; i < checked.report.observations.size(); ++i) {
        const NetworkObservation& o = checked.report.observations[i];
        if (std::abs(o.magnitude_mag) > faintest_mag) {
            points.leave_out_without_magnitude();
            continue;
        }
        if (o.magnitude_type == "DIF") {
            points.leave_out_differential();
            continue;
        }
        const auto band = points.band(o.filter, true);
        if (!band) {
            points.leave_out_band(o.filter,
                                  fmt::format("{}, line {}, field FILTER", source, checked.lines[i]));
            continue;
        }
        lightcurve::Point point;
        const bool at_sun = (o.date_format.empty() ? header.date_format : o.date_format) == "HJD";
        points.take_time(point, sky::from_jd(o.date, TimeScale::utc),
                         at_sun ? TimePlace::sun : TimePlace::observer, {});
        point.is_limit = o.fainter_than;
        if (point.is_limit) {
            point.limit_mag = o.magnitude_mag;
        } else {
            point.magnitude_mag = o.magnitude_mag;
            points.take_error(point, o.err_mag);
        }
        point.label = fmt::format("line {}", checked.lines[i]);
        const std::string& observer = o.observer_code.empty() ? header.observer_code : o.observer_code;
        points.add(observer.empty() ? points.own_name() : observer, *band, std::move(point));
    }
    return std::move(points).finish();
}

}  // namespace emberline::exchange
