// SPDX-License-Identifier: MIT
// What `solve --json` prints.
#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json solution_of(const SolvedFrame& one) {
    Json json;
    json["against"] = one.against;
    json["order"] = one.order;
    json["detected"] = one.detected;
    json["references"] = one.references;
    json["matched"] = one.matched;
    json["rms_arcsec"] = one.rms_arcsec;
    json["false_probability"] = one.false_probability;
    json["log_odds"] = one.log_odds;
    json["scale_arcsec_per_px"] = one.scale_arcsec_per_px;
    json["position_angle_deg"] = one.position_angle_deg;
    json["mirrored"] = one.mirrored;
    json["centre_ra_deg"] = one.middle ? Json(one.middle->ra.degrees()) : Json(nullptr);
    json["centre_dec_deg"] = one.middle ? Json(one.middle->dec.degrees()) : Json(nullptr);
    json["header_off_arcsec"] = maybe(one.header_off_arcsec);
    json["header_off_corner_arcsec"] = maybe(one.header_off_corner_arcsec);
    return json;
}

}  // namespace

Json document(const SolveOutcome& outcome) {
    Json frames = Json::array();
    for (const SolvedFrame& one : outcome.frames) {
        Json json;
        json["frame"] = one.frame;
        json["had_solution"] = one.had_solution;
        json["solution"] = one.matched > 0 ? solution_of(one) : Json(nullptr);
        json["copy"] = maybe(one.copy);
        json["problem"] = one.problem ? document(*one.problem) : Json(nullptr);
        frames.push_back(std::move(json));
    }
    return {
        {"frames", std::move(frames)}, {"remarks", outcome.remarks}, {"interrupted", outcome.interrupted}};
}

}  // namespace emberline::tasks
