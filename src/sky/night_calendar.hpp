// SPDX-License-Identifier: MIT
// sky/night_calendar — a night at a site: when it is dark, and where a star, the Sun and the Moon stand then.
// True altitudes throughout; rise, set and twilights to seconds, where the air refracts as it usually does.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/instant.hpp"
#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"
#include "sky/site.hpp"

namespace emberline::sky {

enum class Twilight { sunset, civil, nautical, astronomical };
// The Sun's true altitude at it, degrees: −50′ (refraction and half a disc), −6, −12, −18.
[[nodiscard]] double sun_altitude_deg(Twilight twilight);

// Nearer to the Sun than this, a star is pointed at with care alone. common practice, no source
inline constexpr double near_the_sun_deg = 20.0;

struct Span {
    Instant from, to;  // UTC
    [[nodiscard]] double hours() const;
};

struct NightSky {
    std::string night;  // YYYY-MM-DD of the evening
    Instant noon;       // UTC, at which it begins: of local mean time
    Instant midnight;   // the Sun at its lowest
    double sun_least_altitude_deg = 0.0;
    // The Sun below that; absent where it never is. Where it always is, from noon to noon.
    std::optional<Span> sun_down, civil, nautical, dark;
    bool sun_never_rises = false, sun_never_sets = false;
    std::vector<Span> observable;  // the star above the least altitude while it is dark enough
    double observable_h = 0.0;
    double moonless_h = 0.0;             // of these, with the Moon down
    std::optional<double> best_airmass;  // in those spans
    std::optional<Instant> best;
    Instant transit;  // upper, nearest to the middle of the dark; an equatorial mount turns over there
    bool transit_in_dark = false;
    double transit_altitude_deg = 0.0;
    // At the star's best time; where it has none, at midnight.
    double altitude_deg = 0.0;
    double sun_distance_deg = 0.0, moon_distance_deg = 0.0;  // from the star
    double moon_altitude_deg = 0.0, moon_illuminated = 0.0;
    std::vector<Span> moon_up;
    [[nodiscard]] bool near_sun() const { return sun_distance_deg < near_the_sun_deg; }
};

struct NightNeeds {
    double least_altitude_deg = 30.0;
    Twilight darkness = Twilight::astronomical;
};
// The night whose evening falls on that date (noon to noon of local mean time, as night_of). Problem
// (request): no such date.
[[nodiscard]] Result<NightSky> night_sky(std::string_view date, const SkyPosition& star, const Site& site,
                                         const NightNeeds& needs = {});
// The next date. Problem: as above.
[[nodiscard]] Result<std::string> following_night(std::string_view date);

}  // namespace emberline::sky
