// SPDX-License-Identifier: MIT
// rehearsal/field_troubles — nights as they are saved by hand: hardly a frame solved, the field drifting, the
// mount jumping, satellites passing.
#pragma once

#include <optional>
#include <vector>

#include "numerics/random.hpp"
#include "quantities/problem.hpp"

namespace emberline::rehearsal {

struct FieldTroubles {
    std::optional<int> solved;  // a night's frames whose header has a plate solution, the first; absent: all
    double misled_share = 0.0;  // of the others: with a solution of a place a third of a degree away
    double drift_px = 0.0;      // of the field from the first frame of a night to its last
    std::optional<double> camera_angle_deg;  // absent: about north up
    bool mirrored = false;
    double doubled_share = 0.0, jump_px = 6.0;  // frames in which the mount jumped: each star twice
    double satellite_share = 0.0;               // frames with a line of light across
};

// Of one frame.
struct Jump {
    double dx_px = 0.0, dy_px = 0.0;
    double share = 0.0;  // of the exposure after it; 0: it did not jump
};
struct SatelliteTrail {
    double x_px = 0.0, y_px = 0.0;  // a place that it passes
    double direction_deg = 0.0;     // from +x towards +y
    double e_per_px = 0.0;          // along it; 0: none
};
enum class HeaderPlate { right, none, misled };

struct FrameTroubles {
    HeaderPlate plate = HeaderPlate::right;
    Jump jump;
    SatelliteTrail satellite;
    double drift_x_px = 0.0, drift_y_px = 0.0;
};

// Problem (kind request): a number out of range.
[[nodiscard]] Result<void> check_troubles(const FieldTroubles& troubles, const char* where);
// Of frame `number` of `of` in a night; the same for the same random numbers.
[[nodiscard]] FrameTroubles troubles_of(const FieldTroubles& troubles, int number, int of, int width_px,
                                        int height_px, const numerics::Random& night_random,
                                        numerics::Random frame_random);

}  // namespace emberline::rehearsal
