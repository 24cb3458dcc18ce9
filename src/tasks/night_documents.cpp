// SPDX-License-Identifier: MIT
#include <filesystem>
#include <nlohmann/json.hpp>

#include "sky/time_scales.hpp"
#include "tasks/documents.hpp"
#include "tasks/find_measured.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json document_of(const night::JudgedExposure& e) {
    return {{"frame", e.frame},
            {"plane", e.plane},
            {"band", e.band.name()},
            {"instrument", e.instrument},
            {"jd_utc", e.jd_utc},
            {"transparency", maybe(e.transparency)},
            {"fwhm_arcsec", e.fwhm_arcsec},
            {"elongation", e.elongation},
            {"direction_deg", e.direction_deg},
            {"sky_mag_per_arcsec2", maybe(e.sky_mag_arcsec2)},
            {"sky_e_per_px", e.sky_e_per_px},
            {"stars_found", e.stars_found},
            {"stars_expected", e.stars_expected},
            {"shift_east_arcsec", e.shift_east_arcsec},
            {"shift_north_arcsec", e.shift_north_arcsec},
            {"rotation_deg", e.rotation_deg},
            {"flipped", e.flipped},
            {"solved_here", e.solved_here},
            {"used", e.used},
            {"weight", e.weight},
            {"reason", e.reason},
            {"flags", flags(e.caveats)}};
}

std::string utc(double jd_utc) {
    return sky::iso(sky::from_jd(jd_utc, TimeScale::utc), 0);
}

Json document_of(const NightExposure& frame) {
    const night::FrameMeasurement& m = frame.measured;
    Json json = {{"id", FrameId{m.fingerprint, m.plane}.text()},
                 {"name", std::filesystem::path(m.frame).filename().string()}};
    json.update(document_of(frame.judged));
    json["mid_utc"] = utc(m.jd_utc);
    json["exposure_s"] = m.exposure_s;
    json["airmass"] = maybe(m.airmass);
    json["mag"] = maybe(m.magnitude_mag);
    json["err_mag"] = maybe(m.total_err_mag());
    json["random_err_mag"] = maybe(m.random_err_mag);
    json["limit_mag"] = maybe(m.limit_mag);
    json["is_limit"] = m.is_limit;
    return json;
}

Json document_of(const std::vector<WayToGoal>& ways) {
    Json json = document(std::vector<RunningNight>(ways.begin(), ways.end()));
    for (std::size_t i = 0; i < ways.size(); ++i)
        json[i]["clear_to_goal_s"] = maybe(ways[i].clear_to_goal_s);
    return json;
}

Json document_of(const night::NightSoFar& course) {
    Json json = {{"band", course.band.name()}, {"instrument", course.instrument}, {"points", Json::array()}};
    for (const night::PointSoFar& point : course.points) {
        json["points"].push_back({{"jd_utc", point.jd_utc},
                                  {"mid_utc", utc(point.jd_utc)},
                                  {"frames", point.frames},
                                  {"mag", maybe(point.magnitude_mag)},
                                  {"random_err_mag", maybe(point.random_err_mag)},
                                  {"err_mag", maybe(point.total_err_mag())},
                                  {"limit_mag", maybe(point.limit_mag)}});
    }
    return json;
}

Json document_of(const night::FlipOfNight& flip) {
    Json json = {{"band", flip.band.name()},      {"instrument", flip.instrument},
                 {"jd_utc", flip.jd_utc},         {"scatter_mag", flip.scatter_mag},
                 {"stands_out", flip.stands_out}, {"steps", Json::array()}};
    for (const night::FlipStep& step : flip.steps) {
        json["steps"].push_back({{"star", step.label},
                                 {"step_mag", step.step_mag},
                                 {"err_mag", step.err_mag},
                                 {"frames_before", step.before},
                                 {"frames_after", step.after},
                                 {"before_px", {step.before_x_px, step.before_y_px}},
                                 {"after_px", {step.after_x_px, step.after_y_px}}});
    }
    return json;
}

Json document_of(const night::PlaceOffset& away) {
    return {{"east_arcsec", away.east_arcsec},
            {"north_arcsec", away.north_arcsec},
            {"east_err_arcsec", away.east_err_arcsec},
            {"north_err_arcsec", away.north_err_arcsec},
            {"distance_arcsec", away.distance_arcsec},
            {"distance_err_arcsec", away.distance_err_arcsec},
            {"position_angle_deg", away.position_angle_deg}};
}

Json document_of(const night::TransientPlace& place) {
    Json json = {{"ra_deg", place.place.ra.degrees()},
                 {"dec_deg", place.place.dec.degrees()},
                 {"east_err_arcsec", place.east_err_arcsec},
                 {"north_err_arcsec", place.north_err_arcsec},
                 {"east_random_arcsec", place.east_random_arcsec},
                 {"north_random_arcsec", place.north_random_arcsec},
                 {"common_err_arcsec", place.common_err_arcsec},
                 {"frames", place.frames},
                 {"nights", place.nights},
                 {"method", place.method},
                 {"chi2", place.chi2},
                 {"dof", place.dof},
                 {"from_campaign", document_of(place.from_campaign)}};
    json["from_nucleus"] = place.from_nucleus ? document_of(*place.from_nucleus) : Json(nullptr);
    return json;
}

}  // namespace

Json document(const PlacesOutcome& places) {
    Json json = {{"nights", Json::array()}};
    for (const auto& [night, place] : places.nights) {
        Json own = {{"night", night}};
        own.update(document_of(place));
        json["nights"].push_back(std::move(own));
    }
    json["all"] = places.all ? document_of(*places.all) : Json(nullptr);
    json["frames_used"] = places.frames_used;
    json["frames_without"] = places.frames_without;
    return json;
}

Json document(const NightFrames& frames) {
    Json json = {{"night", frames.night}, {"frames", Json::array()}, {"flips", Json::array()}};
    for (const night::JudgedExposure& e : frames.judged.exposures)
        json["frames"].push_back(document_of(e));
    for (const night::FlipOfNight& flip : frames.judged.flips)
        json["flips"].push_back(document_of(flip));
    json["remarks"] = frames.judged.remarks;
    json["picture"] = frames.picture;
    if (frames.goal_mag) {
        json["goal_mag"] = *frames.goal_mag;
        json["bands"] = document_of(frames.ways);
    }
    return json;
}

Json document(const NightCourse& course) {
    Json json = {
        {"night", course.night},    {"goal_mag", course.goal_mag}, {"bands", document_of(course.bands)},
        {"running", Json::array()}, {"frames", Json::array()},     {"flips", Json::array()},
        {"remarks", course.remarks}};
    for (const night::NightSoFar& one : course.running)
        json["running"].push_back(document_of(one));
    for (const NightExposure& frame : course.frames)
        json["frames"].push_back(document_of(frame));
    for (const night::FlipOfNight& flip : course.flips)
        json["flips"].push_back(document_of(flip));
    return json;
}

}  // namespace emberline::tasks
