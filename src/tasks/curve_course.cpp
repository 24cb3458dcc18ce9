// SPDX-License-Identifier: MIT
#include "tasks/curve_course.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "picture/curve_picture.hpp"
#include "quantities/delimited_table.hpp"
#include "tasks/curve_parts.hpp"
#include "tasks/temporary_folder.hpp"

namespace emberline::tasks {
namespace {

using lightcurve::LightCurve;

// Of one's own points, in the curves that curves_of() makes.
constexpr std::string_view own_series = "own";

DrawnPoint place_of(const LightCurve& curve, std::size_t index, std::size_t series) {
    const lightcurve::Point& point = curve.points[index];
    DrawnPoint out{.bjd_tdb = point.bjd_tdb, .is_limit = point.is_limit, .series = series};
    if (std::isfinite(point.jd_utc) && point.jd_utc > 0.0) out.jd_utc = point.jd_utc;
    if (point.series < curve.series.size() && curve.series[point.series] == own_series)
        out.night = point.label;
    return out;
}

DrawnPoint point_of(const LightCurve& curve, const picture::Mark& mark) {
    DrawnPoint out = place_of(curve, mark.point, mark.series);
    out.mag = mark.mag;
    out.outlier = mark.outlier;
    out.residual_mag = mark.residual_mag;
    if (!(mark.total_err > 0.0)) return out;
    out.random_err_mag = mark.random_err;
    out.common_err_mag =
        std::sqrt(std::max(mark.total_err * mark.total_err - mark.random_err * mark.random_err, 0.0));
    out.err_mag = mark.total_err;
    return out;
}

DrawnBand drawn_band(picture::CurveOnPaper paper, const std::vector<std::string>& series) {
    paper.shift_mag = 0.0;  // on paper bands stand apart
    picture::BandMarks marks = picture::marks_of(paper, series);
    DrawnBand course{.band = paper.curve.band, .points = {}, .line = std::move(marks.line)};
    for (const picture::Mark& mark : marks.marks)
        course.points.push_back(point_of(paper.curve, mark));
    for (const picture::LimitMark& limit : marks.limits) {
        course.points.push_back(place_of(paper.curve, limit.point, limit.series));
        course.points.back().mag = limit.mag;
    }
    std::stable_sort(course.points.begin(), course.points.end(),
                     [](const DrawnPoint& a, const DrawnPoint& b) { return a.bjd_tdb < b.bjd_tdb; });
    return course;
}

std::optional<Maximum> maximum_of(const CurveOutcome& outcome, const std::string& band) {
    for (const BandCurve& one : outcome.bands) {
        if (one.curve.band.name() != band || !one.analysis.peak) continue;
        const lightcurve::Figure& at = one.analysis.peak->bjd_tdb;
        return Maximum{{at.value, at.err}, one.curve.band};
    }
    return std::nullopt;
}

}  // namespace

CurveCourse course_of(const CurveOutcome& outcome) {
    const picture::CurvePicture drawing = curve_on_paper(outcome);
    CurveCourse course{.series = picture::series_of(drawing), .bands = {}, .maximum = {}};
    for (const picture::CurveOnPaper& paper : drawing.bands)
        course.bands.push_back(drawn_band(paper, course.series));
    course.maximum = maximum_of(outcome, drawing.maximum_of);
    return course;
}

Result<IntervalRate> rate_of_interval(const CurvePoints& points, const std::string& name,
                                      const lightcurve::Interval& interval) {
    const auto band = parse_band(name);
    if (!band) {
        Problem problem = band.error();
        problem.kind = ProblemKind::request;
        return fail(std::move(problem));
    }
    const auto found = std::find_if(points.curves.begin(), points.curves.end(),
                                    [&](const LightCurve& curve) { return curve.band == *band; });
    if (found == points.curves.end()) {
        return fail({.what = fmt::format("There are no points in {}.", band->name()),
                     .where = "the rate of an interval",
                     .mend = "Choose a band that was measured."});
    }
    LightCurve curve = *found;
    auto remarks = lightcurve::prepare(curve);
    auto straight = lightcurve::straight_rate(curve, "asked", interval);
    if (!straight) {
        Problem problem = straight.error();
        problem.where =
            fmt::format("{}, {:.2f} to {:.2f}", band->name(), interval.from_bjd_tdb, interval.to_bjd_tdb);
        problem.kind = ProblemKind::request;
        return fail(std::move(problem));
    }
    IntervalRate rate{
        .band = *band, .straight = std::move(*straight), .line = {}, .remarks = std::move(remarks)};
    rate.line = picture::line_of(rate.straight.fit);
    return rate;
}

Result<std::string> curve_picture(const CurveOutcome& outcome, std::string_view format) {
    if (format != "svg" && format != "pdf" && format != "png") {
        return fail({.what = fmt::format("There is no picture of the format '{}'.", format),
                     .where = "format",
                     .mend = "Use svg, pdf or png.",
                     .kind = ProblemKind::request});
    }
    if (!outcome.any_fit()) {
        return fail({.what = "Nothing could be fitted, and so nothing is drawn.",
                     .where = outcome.title,
                     .mend = "Measure more nights, or choose more of them."});
    }
    const auto folder = TemporaryFolder::make();
    if (!folder) return fail(folder.error());
    const std::string file = folder->path(fmt::format("curve.{}", format));
    if (auto good = picture::draw_curve(curve_on_paper(outcome), file); !good) return fail(good.error());
    return read_text_file(file);
}

}  // namespace emberline::tasks
