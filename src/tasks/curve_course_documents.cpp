// SPDX-License-Identifier: MIT
// What stands beside the document of `curve --json` for somebody who draws it, and the rate of an interval.
#include <nlohmann/json.hpp>

#include "sky/time_scales.hpp"
#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

constexpr double days_of_slow_rate = 100.0;

Json line_document(const std::vector<picture::LineSample>& line) {
    Json json = Json::array();
    for (const picture::LineSample& at : line)
        json.push_back({{"bjd_tdb", at.jd}, {"mag", at.mag}, {"err_mag", at.err}});
    return json;
}

Json point_document(const DrawnPoint& p) {
    return {
        {"bjd_tdb", p.bjd_tdb},
        {"mid_utc", p.jd_utc ? Json(sky::iso(sky::from_jd(*p.jd_utc, TimeScale::utc), 0)) : Json(nullptr)},
        {"mag", p.mag},
        {"err_mag", maybe(p.err_mag)},
        {"random_err_mag", maybe(p.random_err_mag)},
        {"common_err_mag", maybe(p.common_err_mag)},
        {"is_limit", p.is_limit},
        {"series", p.series},
        {"night", p.night.empty() ? Json(nullptr) : Json(p.night)},
        {"residual_mag", maybe(p.residual_mag)},
        {"outlier", p.outlier}};
}

}  // namespace

Json document(const CurveCourse& course) {
    Json json{{"series", course.series},
              {"points", Json::object()},
              {"lines", Json::object()},
              {"maximum", nullptr}};
    for (const DrawnBand& band : course.bands) {
        Json& points = json["points"][band.band.name()] = Json::array();
        for (const DrawnPoint& point : band.points)
            points.push_back(point_document(point));
        json["lines"][band.band.name()] = line_document(band.line);
    }
    if (course.maximum) {
        json["maximum"] = {{"bjd_tdb", course.maximum->bjd_tdb.value},
                           {"err_d", course.maximum->bjd_tdb.err},
                           {"band", course.maximum->band.name()}};
    }
    return json;
}

Json document(const IntervalRate& found) {
    const lightcurve::Rate& rate = found.straight.rate;
    const ValueWithError& a_day = rate.mag_per_day;
    return {{"band", found.band.name()},
            {"n", rate.n},
            {"from_bjd_tdb", rate.interval.from_bjd_tdb},
            {"to_bjd_tdb", rate.interval.to_bjd_tdb},
            {"mag_per_day", {{"value", a_day.value}, {"err", a_day.err}}},
            {"mag_per_100_days",
             {{"value", days_of_slow_rate * a_day.value}, {"err", days_of_slow_rate * a_day.err}}},
            {"line", line_document(found.line)},
            {"remarks", found.remarks}};
}

}  // namespace emberline::tasks
