// SPDX-License-Identifier: MIT
// rehearsal/invented_sky — a sky that we made up, and therefore know.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "numerics/random.hpp"
#include "quantities/band.hpp"
#include "quantities/sky_position.hpp"
#include "quantities/value_with_error.hpp"
#include "sky/site.hpp"

namespace emberline::rehearsal {

struct InventedStar {
    std::string label;  // empty for field stars that are in no table
    SkyPosition position;
    std::map<Band, double> true_mag;  // standard system
    std::map<Band, ValueWithError>
        catalogue;  // what comparison.csv will say: truth plus an error of that size
    bool check = false;
};

struct InventedHost {  // exponential disk and a bulge about the nucleus
    SkyPosition nucleus;
    double disk_mag = 15.5, disk_scale_arcsec = 12.0, disk_axis_ratio = 0.6, disk_angle_deg = 40.0;
    double bulge_mag = 17.0, bulge_scale_arcsec = 2.0;
    std::map<Band, double> colour_offset_mag;  // host magnitude in band = mag above + this
};

// m(t) in a band: a straight decline after `peak`, a quadratic before it; rate in mag per day.
struct InventedTransient {
    std::string name;
    SkyPosition position;
    double peak_bjd_tdb = 0.0;
    std::map<Band, double> peak_mag;
    std::map<Band, double> decline_mag_per_day;
    [[nodiscard]] double magnitude(const Band& band, double bjd_tdb) const;
};

struct InventedSky {
    std::vector<InventedStar> stars;
    std::optional<InventedHost> host;
    InventedTransient transient;
};

struct SkyOptions {
    std::uint64_t seed = 1;
    SkyPosition centre;
    double field_arcmin = 15.0;
    int comparison_stars = 10;  // one more is the check star
    int field_stars = 40;
    double brightest_mag = 11.5, faintest_mag = 15.0;
    double catalogue_err_mag = 0.03;
    bool host = true;
    double host_offset_arcsec = 16.0;  // nucleus from transient
    std::vector<Band> bands;           // with their colour partners
};
[[nodiscard]] InventedSky invent_sky(const SkyOptions& options);

}  // namespace emberline::rehearsal
