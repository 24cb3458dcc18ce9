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
#include "rehearsal/invented_host.hpp"
#include "rehearsal/star_troubles.hpp"
#include "sky/site.hpp"

namespace emberline::rehearsal {

// Of a star that varies: added to its magnitude, in all bands alike.
struct Pulsation {
    double amplitude_mag = 0.0, period_days = 1.0;
    double phase = 0.0;  // at the Julian date 2460000.0, in periods
    [[nodiscard]] double at(double bjd_tdb) const;
};

struct InventedStar {
    std::string label;  // empty for field stars that are in no table
    SkyPosition position;
    std::map<Band, double> true_mag;  // standard system
    std::map<Band, ValueWithError>
        catalogue;  // what comparison.csv will say: truth plus an error of that size
    bool check = false;
    std::optional<Pulsation> pulsation;
};

// m(t) in a band: a straight decline after `peak`, a quadratic before it; rate in mag per day.
struct InventedTransient {
    std::string name;
    SkyPosition position;
    double peak_bjd_tdb = 0.0;
    std::map<Band, double> peak_mag;
    std::map<Band, double> decline_mag_per_day;
    double light_share = 1.0;  // of its light that is sent; 0: the field without it
    // In the band's sequence band. A band that is not in the tables shines as the tables' first.
    [[nodiscard]] double magnitude(const Band& band, double bjd_tdb) const;
    // In the band's usual index; absent where a band of it is not in the tables.
    [[nodiscard]] std::optional<double> colour(const Band& band, double bjd_tdb) const;
};

struct InventedSky {
    std::vector<InventedStar> stars;
    std::optional<InventedHost> host;
    InventedTransient transient;
    std::vector<TroubledStar> troubled;  // comparison stars that are not what the table says
};

// How a colour goes with wavelength: m_band − m_V for B−V = 1. Straight in 1/wavelength, as for black bodies
// to first order; ordinary stars follow it to a tenth.
[[nodiscard]] double colour_slope(const Band& band);

// The sequence bands of these and both bands of their usual colours; V and B where there are none.
[[nodiscard]] std::vector<Band> with_partners(const std::vector<Band>& bands);

// A colour of the invented transient, B−V; near that of a type II supernova some weeks after its peak.
inline constexpr double transient_colour_mag = 0.5;

// East and a little south.
inline constexpr double usual_host_angle_deg = 116.6;

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
    std::optional<HostKind> host_kind;  // drawn from the seed; absent: the host that needs no options
    double host_offset_arcsec = 16.0;   // nucleus from transient
    std::optional<double>
        host_angle_deg;       // of the nucleus seen from the transient; absent: usual_host_angle_deg
    std::vector<Band> bands;  // with their colour partners; empty: V
};
// The transient is left for the caller to fill but for its position.
[[nodiscard]] InventedSky invent_sky(const SkyOptions& options);

}  // namespace emberline::rehearsal
