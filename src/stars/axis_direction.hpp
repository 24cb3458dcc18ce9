// SPDX-License-Identifier: MIT
// stars/axis_direction — where the long axis of an ellipse points. An axis has no front: turned by half a
// turn it is the same, so that directions are kept, and averaged, as angles of twice their size. Private to
// this room.
#pragma once

#include <cmath>

#include "quantities/angle.hpp"

namespace emberline::stars {

// From the sine and cosine of the doubled angle, both times any one length above 0; [0, 180) degrees from +x
// towards +y.
[[nodiscard]] inline Angle axis_direction(double doubled_sine, double doubled_cosine) {
    const double degrees = Angle::radians(0.5 * std::atan2(doubled_sine, doubled_cosine)).degrees();
    // 0, −0 and a last digit below it all come out as 180, which is 0.
    const double folded = degrees > 0.0 ? degrees : degrees + 180.0;
    return Angle::degrees(folded < 180.0 ? folded : 0.0);
}

}  // namespace emberline::stars
