// SPDX-License-Identifier: MIT
// tasks/night_course — one night as it went: each exposure, the magnitude as it settled, and what is left to
// the observer's goal. Reads that night alone, however large the ledger.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ledger/ledger.hpp"
#include "night/judge_night.hpp"
#include "night/night_so_far.hpp"
#include "tasks/watch.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// What the ledger has of one night.
struct NightAsKept {
    std::string night;
    std::vector<photometry::FrameFluxes> frames;
    ledger::Solution solution;  // that night's; the verdicts are on all stars
};
// `wanted`: YYYY-MM-DD; absent: the newest. Problem: nothing measured yet; no such night (kind request).
[[nodiscard]] Result<NightAsKept> read_one_night(const ledger::Ledger& ledger, const Workspace& workspace,
                                                 const std::optional<std::string>& wanted);

// One band of one instrument on its way to the goal.
struct WayToGoal : RunningNight {
    // Until the goal, were the sky clear: its frames at the mean pace of those in use so far, pauses
    // included. Absent where they are not known.
    std::optional<double> clear_to_goal_s;
};
[[nodiscard]] std::vector<WayToGoal> ways_to_goal(const night::Solution& solution, const std::string& night,
                                                  double goal_mag);

struct NightExposure {
    night::JudgedExposure judged;
    night::FrameMeasurement measured;
};

struct NightCourse {
    std::string night;
    double goal_mag = 0.0;
    std::vector<WayToGoal> bands;
    std::vector<night::NightSoFar> running;
    std::vector<NightExposure> frames;  // by time
    std::vector<night::FlipOfNight> flips;
    std::vector<std::string> remarks;
};
[[nodiscard]] Result<NightCourse> night_course(const Workspace& workspace, const ledger::Ledger& ledger,
                                               const std::optional<std::string>& night, double goal_mag);

}  // namespace emberline::tasks
