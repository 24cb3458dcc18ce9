// SPDX-License-Identifier: MIT
#include "tasks/running_night.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace emberline;
using namespace emberline::tasks;

namespace {

night::NightMeasurement a_night(double random, double common, int frames) {
    night::NightMeasurement night;
    night.night = "2024-03-14";
    night.magnitude_mag = 14.0;
    night.random_err_mag = random;
    night.common_err_mag = common;
    night.n_frames = frames;
    return night;
}

}  // namespace

TEST_CASE("frames to a goal follow from errors that fall as the root of their number", "[watch]") {
    // 0.04 of 4 frames alone: 0.08 a frame, so that 0.02 takes 16, 12 more.
    CHECK(frames_to_goal(a_night(0.04, 0.0, 4), 0.02) == 12.0);
    // With 0.012 in common, 0.016 is left for the frames: (0.08 / 0.016)² = 25, 21 more.
    CHECK(frames_to_goal(a_night(0.04, 0.012, 4), 0.02).value() == Approx(21.0).margin(1.0));
    CHECK(frames_to_goal(a_night(0.01, 0.01, 4), 0.02) == 0.0);
    CHECK(std::isinf(frames_to_goal(a_night(0.001, 0.02, 4), 0.02).value()));
    night::NightMeasurement limit = a_night(0.1, 0.0, 3);
    limit.magnitude_mag.reset();
    limit.random_err_mag.reset();
    limit.is_limit = true;
    CHECK_FALSE(frames_to_goal(limit, 0.02));
}

TEST_CASE("a goal is reached when it is reached in every band", "[watch]") {
    const std::vector<RunningNight> both = {{a_night(0.01, 0.0, 4), {}}, {a_night(0.03, 0.0, 4), {}}};
    CHECK_FALSE(goal_reached(both, 0.02));
    CHECK(goal_reached(both, 0.03));
    CHECK_FALSE(goal_reached({}, 0.03));
}
