// SPDX-License-Identifier: MIT
// sky/site — a place on the Earth, WGS84.
#pragma once

#include "quantities/angle.hpp"

namespace emberline::sky {

struct Site {
    Angle latitude;   // geodetic, north positive
    Angle longitude;  // EAST positive
    double elevation_m = 0.0;
    bool operator==(const Site&) const = default;
};

}  // namespace emberline::sky
