// SPDX-License-Identifier: MIT
#include "sky/precession.hpp"

#include <catch2/catch.hpp>

#include "sky/time_scales.hpp"

using namespace emberline;

TEST_CASE("a place of the equinox of date is found among the stars", "[sky][precession]") {
    // FK5 of 2024-03-15 to ICRS, computed with astropy 5.2.1; the frames agree to some hundredths of an
    // arcsecond.
    const Instant date = sky::from_jd(2460384.5, TimeScale::tt);
    const SkyPosition place = sky::from_equinox_of_date(
        {Angle::degrees(201.6183333333333), Angle::degrees(37.14388888888889)}, date);
    const SkyPosition icrs{Angle::degrees(201.34571300051368), Angle::degrees(37.269255484017066)};
    CHECK(separation(place, icrs).arcseconds() < 0.1);
    // At J2000 nothing has moved but for the frames' own difference, 0.02 arcseconds (IERS Conventions 2010).
    const Instant j2000 = sky::from_jd(2451545.0, TimeScale::tt);
    CHECK(separation(sky::from_equinox_of_date(icrs, j2000), icrs).arcseconds() < 0.03);
}
