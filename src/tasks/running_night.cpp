// SPDX-License-Identifier: MIT
#include "tasks/running_night.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace emberline::tasks {

std::optional<double> frames_to_goal(const night::NightMeasurement& night, double goal_mag) {
    const auto total = night.total_err_mag();
    if (!night.magnitude_mag || !total || night.n_frames <= 0) return std::nullopt;
    if (*total <= goal_mag) return 0.0;
    const double common = night.common_err_mag.value_or(0.0);
    const double room = goal_mag * goal_mag - common * common;
    if (room <= 0.0) return std::numeric_limits<double>::infinity();
    return std::ceil(night.n_frames * (*night.random_err_mag * *night.random_err_mag / room - 1.0));
}

std::vector<RunningNight> running_night(const night::Solution& solution, const std::string& night,
                                        std::optional<double> goal_mag) {
    std::vector<RunningNight> running;
    for (const night::NightMeasurement& one : solution.nights) {
        if (one.night != night) continue;
        running.push_back({one, goal_mag ? frames_to_goal(one, *goal_mag) : std::nullopt});
    }
    return running;
}

bool goal_reached(const std::vector<RunningNight>& running, double goal_mag) {
    return !running.empty() && std::all_of(running.begin(), running.end(), [&](const RunningNight& one) {
        const auto total = one.value.total_err_mag();
        return one.value.magnitude_mag && total && *total <= goal_mag;
    });
}

}  // namespace emberline::tasks
