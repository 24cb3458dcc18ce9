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
    double disk_mag = 14.3, disk_scale_arcsec = 12.0, disk_axis_ratio = 0.6, disk_angle_deg = 55.0;
    double bulge_mag = 15.8, bulge_scale_arcsec = 2.0;
    std::map<Band, double> colour_offset_mag;  // host magnitude in band = mag above + this
};

// m(t) in a band: a straight decline after `peak`, a quadratic before it; rate in mag per day.
struct InventedTransient {
    std::string name;
    SkyPosition position;
    double peak_bjd_tdb = 0.0;
    std::map<Band, double> peak_mag;
    std::map<Band, double> decline_mag_per_day;
    // In the band's sequence band. A band that is not in the tables shines as the tables' first.
    [[nodiscard]] double magnitude(const Band& band, double bjd_tdb) const;
    // In the band's usual index; absent where a band of it is not in the tables.
    [[nodiscard]] std::optional<double> colour(const Band& band, double bjd_tdb) const;
};

struct InventedSky {
    std::vector<InventedStar> stars;
    std::optional<InventedHost> host;
    InventedTransient transient;
};

// How a colour goes with wavelength: m_band − m_V for B−V = 1. Straight in 1/wavelength, as for black bodies
// to first order; ordinary stars follow it to a tenth.
[[nodiscard]] double colour_slope(const Band& band);

// The sequence bands of these and both bands of their usual colours; V and B where there are none.
[[nodiscard]] std::vector<Band> with_partners(const std::vector<Band>& bands);

// A colour of the invented transient, B−V; near that of a type II supernova some weeks after its peak.
inline constexpr double transient_colour_mag = 0.5;

struct SkyOptions {
    std::uint64_t seed = 1;
    SkyPosition centre;          // where the transient is
    double field_arcmin = 15.0;  // side of the square that holds the comparison stars
    double spread_over = 1.5;    // field stars fill a square so much wider
    double clear_arcsec = 20.0;  // no other star so near to the transient or a star of the table …
    int blended_stars = 0;       // … but for so many comparison stars, which have a faint one 2″ away
    int comparison_stars = 10;   // one more is the check star
    int field_stars = 40;
    double brightest_mag = 11.5, faintest_mag = 15.0;
    double catalogue_err_mag = 0.03;
    bool host = true;
    double host_offset_arcsec = 16.0;  // nucleus from transient
    std::vector<Band> bands;           // with their colour partners; empty: V
};
// The transient is left for the caller to fill but for its position.
[[nodiscard]] InventedSky invent_sky(const SkyOptions& options);

}  // namespace emberline::rehearsal
