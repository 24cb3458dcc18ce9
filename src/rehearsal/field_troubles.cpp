// SPDX-License-Identifier: MIT
#include "rehearsal/field_troubles.hpp"

#include <cmath>
#include <numbers>

#include "rehearsal/option_limits.hpp"

namespace emberline::rehearsal {
namespace {

constexpr std::uint64_t drift_stream = 41;

}  // namespace

Result<void> check_troubles(const FieldTroubles& troubles, const char* where) {
    return check_limits(
        {{"number of solved frames", static_cast<double>(troubles.solved.value_or(0)), 0, 1e5},
         {"share of frames with a wrong plate solution", troubles.misled_share, 0, 1},
         {"drift of the field in pixels", troubles.drift_px, 0, 5000},
         {"angle of the camera in degrees", troubles.camera_angle_deg.value_or(0.0), -360, 360},
         {"share of doubled frames", troubles.doubled_share, 0, 1},
         {"jump of the mount in pixels", troubles.jump_px, 0, 200},
         {"share of frames with a satellite", troubles.satellite_share, 0, 1}},
        where);
}

FrameTroubles troubles_of(const FieldTroubles& troubles, int number, int of, int width_px, int height_px,
                          const numerics::Random& night_random, numerics::Random frame_random) {
    FrameTroubles out;
    // Every number is drawn, wanted or not, so that one option does not change what another does.
    const double misled = frame_random.uniform(), doubled = frame_random.uniform();
    const double jump_direction = 2.0 * std::numbers::pi * frame_random.uniform();
    const double jump_share = frame_random.uniform(0.25, 0.5), satellite = frame_random.uniform();
    const double across = frame_random.uniform(0.2, 0.8), along = frame_random.uniform(0.2, 0.8);
    const double satellite_direction_deg = frame_random.uniform(0.0, 180.0);
    const double satellite_e_per_px = frame_random.uniform(500.0, 3000.0);
    if (troubles.solved && number >= *troubles.solved)
        out.plate = misled < troubles.misled_share ? HeaderPlate::misled : HeaderPlate::none;
    if (doubled < troubles.doubled_share) {
        out.jump = {troubles.jump_px * std::cos(jump_direction), troubles.jump_px * std::sin(jump_direction),
                    jump_share};
    }
    if (satellite < troubles.satellite_share)
        out.satellite = {across * width_px, along * height_px, satellite_direction_deg, satellite_e_per_px};
    const double drift_direction = 2.0 * std::numbers::pi * night_random.stream(drift_stream).uniform();
    const double drifted = of > 1 ? troubles.drift_px * number / (of - 1) : 0.0;
    out.drift_x_px = drifted * std::cos(drift_direction);
    out.drift_y_px = drifted * std::sin(drift_direction);
    return out;
}

}  // namespace emberline::rehearsal
