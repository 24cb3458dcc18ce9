// SPDX-License-Identifier: MIT
// tasks/nights — the nights as the ledger's newest solution has them.
#pragma once

#include <optional>
#include <string>

#include "ledger/ledger.hpp"
#include "night/judge_night.hpp"
#include "tasks/night_course.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct NightsOutcome {
    ledger::Solution solution;
    std::vector<ledger::Exclusion> exclusions;
};
// Problem: no ledger yet, or one that fails.
[[nodiscard]] Result<NightsOutcome> nights(const Workspace& workspace);

// The exposures of one night, each judged, and what a meridian flip did to the stars.
struct NightFrames {
    std::string night;
    night::JudgedNights judged;
    std::string picture;  // drawn, in out/
    std::optional<double> goal_mag;
    std::vector<WayToGoal> ways;  // to that goal
};
// `night`: YYYY-MM-DD; absent: the newest. `goal_mag`: the total error to get to. Problem: no ledger, no such
// night (kind request), no gnuplot.
[[nodiscard]] Result<NightFrames> night_frames(const Workspace& workspace,
                                               const std::optional<std::string>& night,
                                               std::optional<double> goal_mag = std::nullopt);

}  // namespace emberline::tasks
