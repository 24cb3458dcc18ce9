// SPDX-License-Identifier: MIT
// sky/horizon — where a star stands in the observer's sky, and through how much air it is seen.
#pragma once

#include <memory>
#include <optional>

#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"
#include "sky/site.hpp"

namespace emberline::sky {

struct HorizontalPosition {
    Angle altitude;  // true: no refraction
    Angle azimuth;   // from north through east
};
// One instant at one site, for many stars: precession, nutation and aberration are worked out once.
// ERFA apco13, atciq and atioq without refraction, UT1 = UTC and no polar motion: within 0.003 degrees.
class Horizon {
  public:
    Horizon(const Instant& instant, const Site& site);
    // The same site up to a day before or after: the Earth turned, and all else kept. Within an arcsecond.
    [[nodiscard]] Horizon turned_to(const Instant& instant) const;
    [[nodiscard]] HorizontalPosition position(const SkyPosition& star) const;
    // Of an apparent place, see below.
    [[nodiscard]] HorizontalPosition position_of_apparent(const SkyPosition& place) const;
    // Nothing below the horizon.
    [[nodiscard]] std::optional<double> airmass(const SkyPosition& star) const;
    // West of the meridian, within ±180 degrees.
    [[nodiscard]] Angle hour_angle(const SkyPosition& star) const;

    // Apparent places: directions as they are seen from the site (parallax, aberration and light time
    // included), along the axes of the ICRS. Sun: ERFA epv00; Moon: Meeus 1998 by ERFA moon98, 10 arcseconds.
    [[nodiscard]] SkyPosition apparent(const SkyPosition& star) const;
    [[nodiscard]] SkyPosition apparent_sun() const;
    [[nodiscard]] SkyPosition apparent_moon() const;

  private:
    Horizon() = default;
    struct Context;
    std::shared_ptr<const Context> context_;
};
[[nodiscard]] HorizontalPosition horizontal(const Instant& instant, const SkyPosition& star,
                                            const Site& site);

// Young 1994 (Appl. Opt. 33, 1108) from the TRUE altitude; nothing below the horizon. 31.7 at the horizon.
[[nodiscard]] std::optional<double> airmass(Angle true_altitude);
[[nodiscard]] std::optional<double> airmass(const Instant& instant, const SkyPosition& star,
                                            const Site& site);
// Where airmass() equals `x`: the true altitude. For headers that give an airmass and no site.
[[nodiscard]] Angle altitude_at_airmass(double x);

// The Sun's and the Moon's apparent places (geocentric ICRS), to about 0.02 degrees.
[[nodiscard]] SkyPosition sun(const Instant& instant);
[[nodiscard]] SkyPosition moon(const Instant& instant);
[[nodiscard]] double moon_illuminated_fraction(const Instant& instant);

}  // namespace emberline::sky
