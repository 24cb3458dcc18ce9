// SPDX-License-Identifier: MIT
// stars/plate_stars — what a plate solution is made from: stars on the picture, stars on the sky.
#pragma once

#include <optional>
#include <string>

#include "frame/wcs.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::stars {

struct PictureStar {
    frame::PixelPosition position;
    double err_px = 0.1;      // one axis
    double brightness = 0.0;  // any unit, above 0; only their order is used
};

struct ReferenceStar {
    SkyPosition position;                 // ICRS, at the frame's epoch
    double err_arcsec = 0.1;              // one axis
    std::optional<double> magnitude_mag;  // in whatever band; only the order is used
    std::string label;
    bool operator==(const ReferenceStar&) const = default;
};

}  // namespace emberline::stars
