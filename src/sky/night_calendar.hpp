// SPDX-License-Identifier: MIT
// sky/night_calendar — a night at a site: when it is dark, and where a star, the Sun and the Moon stand then.
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

// Apparent places as seen from the site (topocentric, aberration and light time included), to a few
// arcseconds.
[[nodiscard]] SkyPosition apparent_sun(const Instant& instant, const std::optional<Site>& site);
[[nodiscard]] SkyPosition apparent_moon(const Instant& instant, const std::optional<Site>& site);

enum class Twilight { sunset, civil, nautical, astronomical };
// The Sun's true altitude at it, degrees: −0.833 (refraction and half a disc), −6, −12, −18.
[[nodiscard]] double sun_altitude_deg(Twilight twilight);

struct Span {
    Instant from, to;  // UTC
    [[nodiscard]] double hours() const { return days_between(from, to) * 24.0; }
};

struct NightSky {
    std::string night;  // YYYY-MM-DD of the evening
    std::optional<Span>
        sun_down;  // sunset to sunrise; absent: the Sun does not set, or does not rise (see below)
    std::optional<Span> dark;      // the Sun below −18 degrees; absent: no astronomical darkness
    std::optional<Span> nautical;  // below −12
    bool sun_never_rises = false, sun_never_sets = false;
    std::vector<Span> observable;  // the star above the least altitude while it is dark
    double observable_h = 0.0;
    std::optional<double> best_airmass;  // in those spans
    std::optional<Instant> best;
    std::optional<Instant>
        transit;  // upper, nearest to the middle of the night; an equatorial mount turns there
    bool transit_in_dark = false;
    double transit_altitude_deg = 0.0;
    double sun_distance_deg = 0.0,
           moon_distance_deg = 0.0;  // from the star, at its best time, else at midnight
    double moon_illuminated = 0.0;
    double moon_altitude_deg = 0.0;
};

struct NightNeeds {
    double least_altitude_deg = 30.0;
    Twilight darkness = Twilight::astronomical;
};
// The night whose evening falls on that date (noon to noon of local mean time). Problem: no such date.
[[nodiscard]] Result<NightSky> night_sky(std::string_view date, const SkyPosition& star, const Site& site,
                                         const NightNeeds& needs = {});

}  // namespace emberline::sky
