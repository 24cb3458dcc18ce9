// SPDX-License-Identifier: MIT
#include "tasks/night_course.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/flip_step.hpp"
#include "quantities/instant.hpp"
#include "tasks/running_night.hpp"

namespace emberline::tasks {
namespace {

// From one frame to the next, of those in use.
double pace_s(const night::Solution& solution, const night::NightMeasurement& night) {
    double first = HUGE_VAL, last = -HUGE_VAL;
    int frames = 0;
    for (const night::FrameMeasurement& m : solution.frames) {
        if (!m.used || m.night != night.night || m.band != night.band || m.instrument != night.instrument)
            continue;
        first = std::min(first, m.jd_utc);
        last = std::max(last, m.jd_utc);
        ++frames;
    }
    const double exposure_s = night.exposure_s / std::max(night.n_frames, 1);
    if (frames < 2) return exposure_s;
    return std::max(exposure_s, (last - first) * seconds_per_day / (frames - 1));
}

}  // namespace

Result<NightAsKept> read_one_night(const ledger::Ledger& ledger, const Workspace& workspace,
                                   const std::optional<std::string>& wanted) {
    const auto newest = ledger.newest_night();
    if (!newest) return fail(newest.error());
    if (!*newest) {
        return fail({.what = "No night has been measured yet.",
                     .where = workspace.ledger_path(),
                     .mend = "Measure frames first: `emberline measure FRAMES`."});
    }
    NightAsKept out{.night = wanted.value_or(**newest), .frames = {}, .solution = {}};
    auto solution = ledger.newest_of(out.night);
    if (!solution) return fail(solution.error());
    out.solution = std::move(*solution);
    if (out.solution.frames.empty()) {
        return fail(
            {.what = fmt::format("No frame of the night of {} was measured.", out.night),
             .where = workspace.ledger_path(),
             .mend = fmt::format("The nights are those of `emberline nights`; the newest is {}.", **newest),
             .kind = ProblemKind::request});
    }
    auto frames = ledger.frames_of(out.night);
    if (!frames) return fail(frames.error());
    out.frames = std::move(*frames);
    return out;
}

std::vector<WayToGoal> ways_to_goal(const night::Solution& solution, const std::string& night,
                                    double goal_mag) {
    std::vector<WayToGoal> ways;
    for (RunningNight& running : running_night(solution, night, goal_mag)) {
        WayToGoal& way = ways.emplace_back();
        static_cast<RunningNight&>(way) = std::move(running);
        if (way.frames_to_goal && std::isfinite(*way.frames_to_goal))
            way.clear_to_goal_s = *way.frames_to_goal * pace_s(solution, way.value);
    }
    return ways;
}

Result<NightCourse> night_course(const Workspace& workspace, const ledger::Ledger& ledger,
                                 const std::optional<std::string>& night, double goal_mag) {
    const auto kept = read_one_night(ledger, workspace, night);
    if (!kept) return fail(kept.error());
    NightCourse out{
        .night = kept->night,
        .goal_mag = goal_mag,
        .bands = ways_to_goal(kept->solution, kept->night, goal_mag),
        .running = night::night_so_far(kept->frames, kept->solution, workspace.campaign.measure.limit_sigma),
        .frames = {},
        .flips = {},
        .remarks = {}};
    night::JudgedNights judged = night::judge_nights(kept->frames, kept->solution);
    out.flips = std::move(judged.flips);
    out.remarks = std::move(judged.remarks);
    // In the order of the judged exposures.
    const auto both = night::frames_in_solution(kept->frames, kept->solution);
    for (std::size_t i = 0; i < both.size(); ++i)
        out.frames.push_back({std::move(judged.exposures[i]), *both[i].measured});
    return out;
}

}  // namespace emberline::tasks
