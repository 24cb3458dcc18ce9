// SPDX-License-Identifier: MIT
#include "sky/horizon.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "expected_table.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using test::number;
using test::text;

TEST_CASE("airmass is Young's of 1994 to a thousandth", "[airmass]") {
    const DelimitedTable table = test::expected_table("sky/airmass.csv");
    for (const TableRow& row : table.rows) {
        const double altitude = number(table, row, "altitude_deg");
        INFO(altitude);
        const auto x = sky::airmass(Angle::degrees(altitude));
        REQUIRE(x);
        CHECK(*x == Approx(number(table, row, "young1994")).margin(1e-6));
        // At the zenith a small step of airmass is a large one of altitude.
        if (altitude < 85.0) CHECK(sky::altitude_at_airmass(*x).degrees() == Approx(altitude).margin(1e-4));
    }
    CHECK_FALSE(sky::airmass(Angle::degrees(-0.1)));
}

TEST_CASE("altitude and azimuth agree with an independent library", "[altitude]") {
    const DelimitedTable table = test::expected_table("sky/altaz.csv");
    for (const TableRow& row : table.rows) {
        INFO(text(table, row, "utc"));
        const sky::Site site{Angle::degrees(number(table, row, "lat_deg")),
                             Angle::degrees(number(table, row, "lon_deg")), number(table, row, "h_m")};
        const SkyPosition star{Angle::degrees(number(table, row, "ra_icrs_deg")),
                               Angle::degrees(number(table, row, "dec_icrs_deg"))};
        const auto seen = sky::horizontal(*sky::parse_instant(text(table, row, "utc")), star, site);
        CHECK(seen.altitude.degrees() ==
              Approx(number(table, row, "altitude_deg_dut1_zero_no_polar_motion")).margin(1e-4));
        // The same on the sky: an azimuth counts less high up.
        const double azimuth_apart_deg =
            std::remainder(
                seen.azimuth.degrees() - number(table, row, "azimuth_deg_dut1_zero_no_polar_motion"), 360.0) *
            std::cos(seen.altitude.radians());
        CHECK(std::abs(azimuth_apart_deg) < 1e-4);
        // UT1 − UTC is left out: up to 0.9 s, 0.004 degrees of turning.
        CHECK(seen.altitude.degrees() ==
              Approx(number(table, row, "altitude_deg_no_refraction")).margin(0.004));
    }
}

TEST_CASE("the Moon is full and new when almanacs say so", "[moon]") {
    // Full 2024-02-24 12:30 UT, new 2024-02-09 22:59 UT: almanac times, from memory.
    CHECK(sky::moon_illuminated_fraction(*sky::parse_instant("2024-02-24T12:30:00")) > 0.998);
    CHECK(sky::moon_illuminated_fraction(*sky::parse_instant("2024-02-09T22:59:00")) < 0.003);
}

TEST_CASE("the Sun stands at the equinox when it should", "[sun]") {
    // March equinox 2024-03-20 03:06 UT, from memory; ICRS and the equinox of date differ by 0.3 degrees of
    // precession, which moves the declination of the crossing by 0.13 degrees.
    const SkyPosition sun = sky::sun(*sky::parse_instant("2024-03-20T03:06:00"));
    CHECK(std::abs(sun.dec.degrees()) < 0.16);
}

TEST_CASE("a place given by three coordinates is the place on the ellipsoid", "[site]") {
    // WGS84: a = 6378137 m, b = 6356752.314 m.
    const auto pole = sky::site_from_geocentric(0.0, 0.0, 6356752.314 + 100.0);
    REQUIRE(pole);
    CHECK(pole->latitude.degrees() == Approx(90.0));
    CHECK(pole->elevation_m == Approx(100.0).margin(0.01));
    const auto equator = sky::site_from_geocentric(0.0, 6378137.0, 0.0);
    REQUIRE(equator);
    CHECK(equator->longitude.degrees() == Approx(90.0));
    CHECK(std::abs(equator->elevation_m) < 0.01);
    CHECK_FALSE(sky::site_from_geocentric(0.0, 0.0, 0.0));
    CHECK_FALSE(sky::site_from_geocentric(6.4e9, 0.0, 0.0));
    CHECK_FALSE(sky::site_from_geocentric(std::nan(""), 0.0, 0.0));
}

TEST_CASE("the three coordinates of a place lead back to it", "[site]") {
    const auto pole = sky::geocentric({Angle::degrees(90.0), Angle::degrees(0.0), 100.0});
    CHECK(pole.z_m == Approx(6356752.314 + 100.0).margin(0.001).epsilon(0));
    const auto place = sky::geocentric({Angle::degrees(51.1), Angle::degrees(-1.2), 95.0});
    const auto back = sky::site_from_geocentric(place.x_m, place.y_m, place.z_m);
    REQUIRE(back);
    CHECK(back->latitude.degrees() == Approx(51.1).margin(1e-10).epsilon(0));
    CHECK(back->longitude.degrees() == Approx(-1.2).margin(1e-10).epsilon(0));
    CHECK(back->elevation_m == Approx(95.0).margin(1e-5).epsilon(0));
}
