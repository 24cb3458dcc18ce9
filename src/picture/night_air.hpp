// SPDX-License-Identifier: MIT
// picture/night_air — what pictures of a night show of the air at each exposure. Private to this room.
#pragma once

#include <optional>
#include <span>

#include "night/judge_night.hpp"

namespace emberline::picture {

struct AirQuantity {
    const char* name;        // with its unit, where there is room
    const char* short_name;  // where there is little
    bool from_zero;          // its axis begins at 0
    bool bright_up;          // a magnitude: smaller numbers stand higher
    std::optional<double> (*value)(const night::JudgedExposure&);  // absent: not known of that exposure
};
// Transparency (%), the width of stars (arcsec), the sky's surface brightness (mag/arcsec²).
[[nodiscard]] std::span<const AirQuantity> air_quantities();

}  // namespace emberline::picture
