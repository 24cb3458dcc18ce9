// SPDX-License-Identifier: MIT
// tasks/running_night — the night so far, and how many more frames its goal would take. Private to this room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "night/solution.hpp"
#include "tasks/watch.hpp"

namespace emberline::tasks {

// More frames, each worth what those so far are on average: with the goal g, the random error σ_r of n frames
// and the error σ_c common to them all, n (σ_r² / (g² − σ_c²) − 1), rounded up. 0: reached. Infinite where
// σ_c alone exceeds the goal. Nothing where the night has no magnitude.
[[nodiscard]] std::optional<double> frames_to_goal(const night::NightMeasurement& night, double goal_mag);

// One a band and instrument.
[[nodiscard]] std::vector<RunningNight> running_night(const night::Solution& solution,
                                                      const std::string& night,
                                                      std::optional<double> goal_mag);

// In every band, and there is one.
[[nodiscard]] bool goal_reached(const std::vector<RunningNight>& running, double goal_mag);

}  // namespace emberline::tasks
