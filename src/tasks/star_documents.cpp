// SPDX-License-Identifier: MIT
// The comparison stars' course, and what setting something aside or taking it back comes to.
#include <nlohmann/json.hpp>

#include "sky/time_scales.hpp"
#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json document_of(const StarInBand& band) {
    const auto& verdict = band.verdict;
    const auto told = [&](double night::StarVerdict::*member) -> Json {
        return verdict ? Json((*verdict).*member) : Json(nullptr);
    };
    Json json = {{"band", band.band.name()},
                 {"instrument", band.instrument},
                 {"catalogue_mag", band.catalogue_mag.value},
                 {"catalogue_err_mag", band.catalogue_mag.err},
                 {"offset_mag", told(&night::StarVerdict::offset_mag)},
                 {"offset_err_mag", told(&night::StarVerdict::offset_err_mag)},
                 {"scatter_mag", told(&night::StarVerdict::scatter_mag)},
                 {"expected_scatter_mag", told(&night::StarVerdict::expected_scatter_mag)},
                 {"suspect", verdict && verdict->suspect},
                 {"why", verdict ? verdict->why : std::string()},
                 {"used_in_nights", band.used_in_nights},
                 {"nights", Json::array()}};
    for (const StarNight& night : band.nights) {
        json["nights"].push_back({{"night", night.night},
                                  {"residual_mag", night.mean.residual_mag},
                                  {"err_mag", night.mean.err_mag},
                                  {"frames", night.mean.frames}});
    }
    return json;
}

Json document_of(const StarCourse& course) {
    Json json = {{"label", course.star.label},
                 {"role", word(course.role)},
                 {"ra_deg", course.star.position.ra.degrees()},
                 {"dec_deg", course.star.position.dec.degrees()},
                 {"set_aside", nullptr},
                 {"bands", Json::array()}};
    if (course.set_aside)
        json["set_aside"] = {{"reason", course.set_aside->reason}, {"since", course.set_aside->since}};
    for (const StarInBand& band : course.bands)
        json["bands"].push_back(document_of(band));
    return json;
}

Json document_of(const StarPoint& point, const StarFrame& frame) {
    return {{"id", frame.id},
            {"night", frame.night},
            {"jd_utc", frame.jd_utc},
            {"mid_utc", sky::iso(sky::from_jd(frame.jd_utc, TimeScale::utc), 0)},
            {"residual_mag", point.residual_mag},
            {"err_mag", point.err_mag},
            {"used", frame.used}};
}

}  // namespace

Json document(const StarCourses& courses) {
    Json json = {{"nights", courses.nights}, {"stars", Json::array()}};
    for (const StarCourse& course : courses.stars)
        json["stars"].push_back(document_of(course));
    return json;
}

Json document(const StarCourses& courses, const StarCourse& course) {
    Json json = {{"label", course.star.label}, {"bands", Json::array()}};
    for (const StarInBand& band : course.bands) {
        Json own = {{"band", band.band.name()}, {"instrument", band.instrument}, {"frames", Json::array()}};
        for (const StarPoint& point : band.points)
            own["frames"].push_back(document_of(point, courses.frames[point.frame]));
        json["bands"].push_back(std::move(own));
    }
    return json;
}

Json document(const TriedSetAside& tried) {
    Json json = {{"action", word(tried.action)}, {"kind", word(tried.named.kind)}, {"key", tried.named.key},
                 {"words", tried.words},         {"nights", Json::array()},        {"decline", Json::array()},
                 {"remarks", tried.remarks}};
    const auto value = [](const std::optional<ValueWithError>& v) {
        return v ? Json(v->value) : Json(nullptr);
    };
    const auto err = [](const std::optional<ValueWithError>& v) { return v ? Json(v->err) : Json(nullptr); };
    for (const TriedNight& night : tried.nights) {
        json["nights"].push_back({{"night", night.night},
                                  {"band", night.band.name()},
                                  {"instrument", night.instrument},
                                  {"before_mag", value(night.before_mag)},
                                  {"before_err_mag", err(night.before_mag)},
                                  {"after_mag", value(night.after_mag)},
                                  {"after_err_mag", err(night.after_mag)},
                                  {"change_mag", maybe(night.change_mag())},
                                  {"change_sigma", maybe(night.change_sigma())}});
    }
    for (const TriedDecline& decline : tried.decline) {
        json["decline"].push_back({{"band", decline.band.name()},
                                   {"from_bjd_tdb", decline.from_bjd_tdb},
                                   {"to_bjd_tdb", decline.to_bjd_tdb},
                                   {"before", maybe_with_err(decline.before_mag_per_day)},
                                   {"after", maybe_with_err(decline.after_mag_per_day)}});
    }
    return json;
}

Json document(const TakenBackReport& taken_back) {
    Json json = {{"file", taken_back.report.file}, {"since", taken_back.report.since},
                 {"kept_as", taken_back.kept_as},  {"restored", taken_back.restored},
                 {"lines", Json::array()},         {"remark", taken_back.remark}};
    for (const ledger::ReportedLine& line : taken_back.report.lines)
        json["lines"].push_back(line.subject);
    return json;
}

}  // namespace emberline::tasks
