// SPDX-License-Identifier: MIT
#include "sky/site.hpp"

#include <erfa.h>
#include <erfam.h>

#include <cmath>

namespace emberline::sky {

std::optional<Site> site_from_geocentric(double x_m, double y_m, double z_m) {
    constexpr double highest_m = 20e3;
    double place_m[3] = {x_m, y_m, z_m};
    double longitude = 0.0, latitude = 0.0, height_m = 0.0;
    if (eraGc2gd(ERFA_WGS84, place_m, &longitude, &latitude, &height_m) != 0) return std::nullopt;
    if (!(std::abs(height_m) < highest_m)) return std::nullopt;
    return Site{Angle::radians(latitude), Angle::radians(longitude), height_m};
}

Geocentric geocentric(const Site& site) {
    double place_m[3] = {};
    eraGd2gc(ERFA_WGS84, site.longitude.radians(), site.latitude.radians(), site.elevation_m, place_m);
    return {place_m[0], place_m[1], place_m[2]};
}

}  // namespace emberline::sky
