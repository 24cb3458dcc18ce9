// SPDX-License-Identifier: MIT
#include <cmath>
#include <nlohmann/json.hpp>

#include "tasks/documents.hpp"

namespace emberline::tasks {
namespace {

using Kind = WatchEvent::Kind;

const char* word(Kind kind) {
    switch (kind) {
        case Kind::measured:
            return "measured";
        case Kind::refused:
            return "refused";
        case Kind::waiting:
            return "waiting";
        case Kind::folder_gone:
            return "folder gone";
        case Kind::folder_back:
            return "folder back";
        case Kind::folder_silent:
            return "folder silent";
        case Kind::note:
            return "note";
    }
    return "note";
}

}  // namespace

Json document(const std::vector<RunningNight>& running) {
    Json list = Json::array();
    for (const RunningNight& one : running) {
        Json json = document(one.value);
        const bool more = one.frames_to_goal && std::isfinite(*one.frames_to_goal);
        json["frames_to_goal"] = more ? Json(*one.frames_to_goal) : Json(nullptr);
        json["goal_out_of_reach"] = one.frames_to_goal && !more;
        list.push_back(std::move(json));
    }
    return list;
}

Json document(const WatchEvent& event) {
    Json json;
    json["event"] = word(event.kind);
    json["frame"] = event.frame.empty() ? Json(nullptr) : Json(event.frame);
    if (!event.sentence.empty()) json["sentence"] = event.sentence;
    if (event.problem) json["problem"] = document(*event.problem);
    if (event.kind == Kind::measured) {
        json["measurements"] = Json::array();
        for (const night::FrameMeasurement& m : event.measurements)
            json["measurements"].push_back(document(m));
    }
    if (!event.running.empty()) json["running"] = document(event.running);
    return json;
}

}  // namespace emberline::tasks
