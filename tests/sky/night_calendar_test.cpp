// SPDX-License-Identifier: MIT
#include "sky/night_calendar.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "expected_table.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using test::number;
using test::text;

namespace {

constexpr double arcminute = 1.0 / 60.0;

sky::Site site_in(const DelimitedTable& table, const TableRow& row) {
    return {Angle::degrees(number(table, row, "lat_deg")), Angle::degrees(number(table, row, "lon_deg")),
            number(table, row, "h_m")};
}

SkyPosition place_in(const DelimitedTable& table, const TableRow& row, const std::string& what) {
    return {Angle::degrees(number(table, row, what + "ra_deg")),
            Angle::degrees(number(table, row, what + "dec_deg"))};
}

// An empty field: it does not happen, and the span ends where the night does.
void check_time(const DelimitedTable& table, const TableRow& row, const std::string& column,
                const std::optional<Instant>& found, const Instant& otherwise) {
    INFO(column);
    const std::string written = text(table, row, column);
    if (!found) {
        CHECK(written.empty());
        return;
    }
    const Instant expected = written.empty() ? otherwise : *sky::parse_instant(written);
    CHECK(std::abs(sky::seconds_between(expected, *found)) < 10.0);
}

const sky::Site somewhere{Angle::degrees(51.1), Angle::degrees(-1.2), 95.0};
const SkyPosition star{Angle::degrees(201.338), Angle::degrees(37.27)};

}  // namespace

TEST_CASE("Sun and Moon stand where an independent library sees them", "[night_calendar]") {
    const DelimitedTable table = test::expected_table("sky/sun_moon.csv");
    for (const TableRow& row : table.rows) {
        INFO(text(table, row, "utc") << ' ' << text(table, row, "site"));
        const Instant instant = *sky::parse_instant(text(table, row, "utc"));
        const sky::Horizon horizon(instant, site_in(table, row));
        const SkyPosition sun = horizon.apparent_sun(), moon = horizon.apparent_moon();
        CHECK(separation(sun, place_in(table, row, "sun_")).arcseconds() < 2.0);
        CHECK(separation(moon, place_in(table, row, "moon_")).arcseconds() < 30.0);
        CHECK(horizon.position_of_apparent(sun).altitude.degrees() ==
              Approx(number(table, row, "sun_altitude_deg")).margin(0.5 * arcminute));
        CHECK(horizon.position_of_apparent(moon).altitude.degrees() ==
              Approx(number(table, row, "moon_altitude_deg")).margin(0.5 * arcminute));
        CHECK(sky::moon_illuminated_fraction(instant) ==
              Approx(number(table, row, "moon_illuminated")).margin(0.015));
    }
}

TEST_CASE("a star's apparent place stands as high as the star", "[night_calendar]") {
    const sky::Horizon horizon(*sky::parse_instant("2024-03-14T21:00:00"), somewhere);
    const SkyPosition seen = horizon.apparent(star);
    CHECK(separation(seen, star).arcseconds() > 1.0);  // aberration: up to 20.5
    CHECK(separation(seen, star).arcseconds() < 21.0);
    CHECK(horizon.position_of_apparent(seen).altitude.arcseconds() ==
          Approx(horizon.position(star).altitude.arcseconds()).margin(0.01));
}

TEST_CASE("a horizon turned by half a day is the horizon of then", "[night_calendar]") {
    const Instant now = *sky::parse_instant("2024-03-14T21:00:00"),
                  then = *sky::parse_instant("2024-03-15T09:00:00");
    const sky::Horizon turned = sky::Horizon(now, somewhere).turned_to(then), made(then, somewhere);
    CHECK(turned.position(star).altitude.arcseconds() ==
          Approx(made.position(star).altitude.arcseconds()).margin(1.0));
    CHECK(separation(turned.apparent_sun(), made.apparent_sun()).arcseconds() < 1.0);
    CHECK(separation(turned.apparent_moon(), made.apparent_moon()).arcseconds() < 1.0);
}

TEST_CASE("nights from the equator to 78 degrees agree with an independent library", "[night_calendar]") {
    const DelimitedTable table = test::expected_table("sky/nights.csv");
    for (const TableRow& row : table.rows) {
        INFO(text(table, row, "night") << ' ' << text(table, row, "site"));
        const auto sky =
            sky::night_sky(text(table, row, "night"), place_in(table, row, ""), site_in(table, row));
        REQUIRE(sky);
        const Instant end = sky::later_by(sky->noon, seconds_per_day);
        const auto check_span = [&](const std::string& from, const std::string& to,
                                    const std::optional<sky::Span>& span) {
            check_time(table, row, from, span ? std::optional(span->from) : std::nullopt, sky->noon);
            check_time(table, row, to, span ? std::optional(span->to) : std::nullopt, end);
        };
        check_span("sunset", "sunrise", sky->sun_down);
        check_span("civil_from", "civil_to", sky->civil);
        check_span("nautical_from", "nautical_to", sky->nautical);
        check_span("dark_from", "dark_to", sky->dark);
        check_time(table, row, "transit", sky->transit, sky->noon);
        CHECK(sky->transit_altitude_deg ==
              Approx(number(table, row, "transit_altitude_deg")).margin(arcminute));
        CHECK(sky->observable_h == Approx(number(table, row, "observable_h")).margin(1.0 / 60.0));
        CHECK(sky->best.has_value() == !text(table, row, "best").empty());
        if (!sky->best) continue;
        CHECK(sky->altitude_deg == Approx(number(table, row, "best_altitude_deg")).margin(arcminute));
        CHECK(*sky->best_airmass == Approx(*sky::airmass(Angle::degrees(sky->altitude_deg))).margin(1e-3));
        CHECK(sky->sun_distance_deg == Approx(number(table, row, "sun_distance_deg")).margin(arcminute));
        CHECK(sky->moon_distance_deg == Approx(number(table, row, "moon_distance_deg")).margin(arcminute));
        // The table's best is one of its minutes, in which the sky turns by a quarter of a degree.
        const Instant best = *sky::parse_instant(text(table, row, "best"));
        CHECK(std::abs(sky::seconds_between(best, *sky->best)) < 31.0);
        const sky::Horizon then(best, site_in(table, row));
        CHECK(then.position_of_apparent(then.apparent_moon()).altitude.degrees() ==
              Approx(number(table, row, "moon_altitude_deg")).margin(arcminute));
        CHECK(sky->moon_altitude_deg == Approx(number(table, row, "moon_altitude_deg")).margin(0.2));
        CHECK(sky->moon_illuminated == Approx(number(table, row, "moon_illuminated")).margin(0.015));
    }
}

TEST_CASE("polar days and nights, white nights, and stars that never rise are told apart",
          "[night_calendar]") {
    const sky::Site north{Angle::degrees(69.65), Angle::degrees(18.95), 30.0};
    const auto midsummer = sky::night_sky("2024-06-10", star, north);
    REQUIRE(midsummer);
    CHECK(midsummer->sun_never_sets);
    CHECK_FALSE(midsummer->sun_never_rises);
    CHECK_FALSE(midsummer->sun_down);
    CHECK(midsummer->observable_h == 0.0);
    const auto midwinter = sky::night_sky("2025-12-21", star, north);
    REQUIRE(midwinter);
    CHECK(midwinter->sun_never_rises);
    REQUIRE(midwinter->sun_down);
    CHECK(midwinter->sun_down->hours() == Approx(24.0));
    REQUIRE(midwinter->dark);
    CHECK(midwinter->dark->hours() < 14.0);  // the Sun is 3 degrees below at noon
    const auto white = sky::night_sky("2024-06-21", star, somewhere);
    REQUIRE(white);
    CHECK(white->nautical);
    CHECK_FALSE(white->dark);
    CHECK(white->observable_h == 0.0);
    const auto enough = sky::night_sky("2024-06-21", star, somewhere, {.darkness = sky::Twilight::nautical});
    REQUIRE(enough);
    CHECK(enough->observable_h > 2.0);
    const auto never = sky::night_sky("2024-03-14", {star.ra, Angle::degrees(-60.0)}, somewhere);
    REQUIRE(never);
    CHECK_FALSE(never->best);
    CHECK(never->transit_altitude_deg == Approx(90.0 - 51.1 - 60.0).margin(0.2));
    const auto always = sky::night_sky("2024-03-14", {star.ra, Angle::degrees(80.0)}, somewhere);
    REQUIRE(always);
    CHECK(always->observable_h == Approx(always->dark->hours()).margin(1e-6));
}

TEST_CASE("a night is the one that night_of names, on either side of the date line", "[night_calendar]") {
    for (const double longitude : {-179.9, -70.0, 0.0, 151.2, 179.9}) {
        const sky::Site site{Angle::degrees(-20.0), Angle::degrees(longitude), 0.0};
        const auto sky = sky::night_sky("2024-02-29", star, site);
        REQUIRE(sky);
        CHECK(sky::night_of(sky::later_by(sky->noon, 1.0), longitude) == "2024-02-29");
        CHECK(sky::night_of(sky::later_by(sky->noon, -1.0), longitude) == "2024-02-28");
        CHECK(sky::night_of(sky->midnight, longitude) == "2024-02-29");
        CHECK(sky->dark->hours() > 7.0);
    }
    CHECK(*sky::following_night("2024-02-28") == "2024-02-29");
    CHECK(*sky::following_night("2023-12-31") == "2024-01-01");
    CHECK(*sky::following_night("2016-12-31") == "2017-01-01");  // a leap second between
    for (const char* none : {"2024-02-30", "tonight", "2024-02-03T21:00", ""}) {
        CHECK_FALSE(sky::night_sky(none, star, somewhere));
        CHECK_FALSE(sky::following_night(none));
    }
}

TEST_CASE("moonlight counts while the Moon is up", "[night_calendar]") {
    // Full Moon 2024-03-25 07:00 UT, new 2024-03-10 09:00 UT: almanac times, from memory.
    const auto full = sky::night_sky("2024-03-24", star, somewhere),
               dark = sky::night_sky("2024-03-10", star, somewhere);
    REQUIRE(full);
    REQUIRE(dark);
    CHECK(full->moon_illuminated > 0.98);
    CHECK(full->moonless_h < 1.0);
    CHECK(dark->moon_illuminated < 0.02);
    CHECK(dark->moonless_h == Approx(dark->observable_h).margin(0.5));
    CHECK(dark->moonless_h <= dark->observable_h + 1e-9);
}
