// SPDX-License-Identifier: MIT
// sky/site — a place on the Earth, WGS84.
#pragma once

#include <optional>

#include "quantities/angle.hpp"

namespace emberline::sky {

struct Site {
    Angle latitude;   // geodetic, north positive
    Angle longitude;  // EAST positive
    double elevation_m = 0.0;
    bool operator==(const Site&) const = default;
};

// From Cartesian coordinates fixed to the Earth, metres, as the FITS standard's OBSGEO-X, -Y, -Z are. Nothing
// for a place that is not within 20 km of the ellipsoid.
[[nodiscard]] std::optional<Site> site_from_geocentric(double x_m, double y_m, double z_m);

// Those coordinates of a place.
struct Geocentric {
    double x_m = 0.0, y_m = 0.0, z_m = 0.0;
};
[[nodiscard]] Geocentric geocentric(const Site& site);

}  // namespace emberline::sky
