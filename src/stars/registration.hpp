// SPDX-License-Identifier: MIT
// stars/registration — how the stars sit against where the plate solution puts them.
#pragma once

#include <vector>

#include "frame/wcs.hpp"
#include "quantities/angle.hpp"

namespace emberline::stars {

struct PositionPair {
    frame::PixelPosition predicted;  // from the WCS
    frame::PixelPosition measured;
    double err_px = 0.1;  // of the measured one, one axis
};

// measured = centre + R(rotation)(predicted − centre) + shift. Rotation only with four stars or more and
// when it is significant; scatter shows what is left.
struct Registration {
    double dx_px = 0.0, dy_px = 0.0;
    Angle rotation;  // from +x towards +y
    frame::PixelPosition centre;
    double scatter_px = 0.0;  // robust, one axis
    // Of the shift at the centre, one axis; includes the scatter; infinite without stars.
    double err_px = 0.0;
    std::size_t stars = 0;   // that agree
    std::vector<bool> used;  // one a pair: outliers are set aside

    [[nodiscard]] frame::PixelPosition apply(const frame::PixelPosition& predicted) const;
};
[[nodiscard]] Registration register_positions(const std::vector<PositionPair>& pairs);

}  // namespace emberline::stars
