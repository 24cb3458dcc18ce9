// SPDX-License-Identifier: MIT
#include "sky/time_scales.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "expected_table.hpp"

using namespace emberline;
using test::number;
using test::text;

TEST_CASE("Julian dates of Meeus's examples", "[time]") {
    // Meeus, Astronomical Algorithms, ch. 7; the Gregorian ones that ERFA confirms.
    const DelimitedTable table = test::expected_table("sky/julian_dates.csv");
    std::size_t checked = 0;
    for (const TableRow& row : table.rows) {
        if (text(table, row, "calendar") != "Gregorian" || number(table, row, "year") < 1000) continue;
        const double day = number(table, row, "day_fraction");
        sky::CalendarTime time;
        time.year = static_cast<int>(number(table, row, "year"));
        time.month = static_cast<int>(number(table, row, "month"));
        time.day = static_cast<int>(day);
        time.seconds_of_day = std::round((day - time.day) * 86400.0);
        const auto instant = sky::instant_of(time, TimeScale::tt);
        REQUIRE(instant);
        // The table prints five decimals of a day.
        CHECK(std::abs(instant->jd() - number(table, row, "jd")) < 1e-5);
        ++checked;
    }
    CHECK(checked >= 12);
}

TEST_CASE("UTC, TT and TDB agree with ERFA's Python wrapper to a millisecond", "[time]") {
    const DelimitedTable table = test::expected_table("sky/timescales.csv");
    for (const TableRow& row : table.rows) {
        INFO(text(table, row, "utc"));
        const auto utc = sky::parse_instant(text(table, row, "utc"));
        REQUIRE(utc);
        const Instant tt = sky::to_tt(*utc);
        const Instant tdb = sky::to_tdb(*utc);
        // Nine printed decimals of a day are 0.04 ms, a double Julian date 0.04 ms more.
        CHECK(std::abs(utc->jd() - number(table, row, "jd_utc")) * 86400.0 < 1e-3);
        CHECK(std::abs(tt.jd() - number(table, row, "jd_tt")) * 86400.0 < 1e-3);
        CHECK(std::abs(tdb.jd() - number(table, row, "jd_tdb")) * 86400.0 < 1e-3);
        const double tdb_minus_tt_s = days_between({tt.day, tt.fraction}, {tdb.day, tdb.fraction}) * 86400.0;
        CHECK(std::abs(tdb_minus_tt_s - number(table, row, "tdb_minus_tt_s")) < 1e-5);
        CHECK(std::abs(sky::seconds_between(*utc, sky::to_utc(tdb))) < 1e-5);
    }
}

TEST_CASE("every leap second since 1972 is known", "[time]") {
    const DelimitedTable table = test::expected_table("sky/leap_seconds.csv");
    for (const TableRow& row : table.rows) {
        const std::string date = text(table, row, "from_utc_date");
        INFO(date);
        const auto utc = sky::parse_instant(date + "T00:00:00");
        REQUIRE(utc);
        const Instant tt = sky::to_tt(*utc);
        const double tt_minus_utc_s = ((tt.day - utc->day) + (tt.fraction - utc->fraction)) * 86400.0;
        CHECK(tt_minus_utc_s - 32.184 == Approx(number(table, row, "tai_minus_utc_s")).margin(1e-4));
    }
}

TEST_CASE("the last second of 2016 is 61 seconds into its minute", "[time]") {
    // IERS Bulletin C 52: a positive leap second at the end of December 2016.
    const auto leap = sky::parse_instant("2016-12-31T23:59:60.5");
    const auto midnight = sky::parse_instant("2017-01-01T00:00:00");
    REQUIRE(leap);
    REQUIRE(midnight);
    CHECK(sky::seconds_between(*leap, *midnight) == Approx(0.5).margin(1e-6));
    CHECK(sky::iso(*leap, 1) == "2016-12-31T23:59:60.5Z");
    CHECK_FALSE(sky::parse_instant("2015-12-31T23:59:60.5"));
}

TEST_CASE("each leap second is counted to the millisecond, and comes back", "[time]") {
    // The table's dates but the first follow an inserted second: IERS Bulletin C.
    const DelimitedTable table = test::expected_table("sky/leap_seconds.csv");
    std::size_t checked = 0;
    for (const TableRow& row : table.rows) {
        const std::string date = text(table, row, "from_utc_date");
        if (date == "1972-01-01") continue;
        INFO(date);
        const auto midnight = sky::parse_instant(date + "T00:00:00");
        REQUIRE(midnight);
        const Instant before = sky::later_by(*midnight, -0.875);
        const std::string written = sky::iso(before);
        CHECK(written.substr(11) == "23:59:60.125Z");
        const auto again = sky::parse_instant(written);
        REQUIRE(again);
        CHECK(std::abs(sky::seconds_between(*again, before)) < 1e-5);
        CHECK(sky::iso(sky::later_by(before, -1.0)).substr(11) == "23:59:59.125Z");
        ++checked;
    }
    CHECK(checked == 27);
}

TEST_CASE("a zone's offset is taken off the clock, not off elapsed time", "[time]") {
    const auto local = sky::parse_instant("2017-01-01T00:30:00+01:00");
    REQUIRE(local);
    CHECK(sky::iso(*local) == "2016-12-31T23:30:00.000Z");
    CHECK(sky::iso(*sky::parse_instant("2016-12-31T16:59:59-0700")) == "2016-12-31T23:59:59.000Z");
    CHECK(sky::iso(*sky::parse_instant("2024-02-29T18:00:00-0700")) == "2024-03-01T01:00:00.000Z");
    CHECK(sky::iso(*sky::parse_instant("2024-01-01T00:00:00+14:00")) == "2023-12-31T10:00:00.000Z");
    // A second 60 stands at midnight of UTC alone.
    CHECK_FALSE(sky::parse_instant("2016-12-31T23:59:60+01:00"));
    CHECK_FALSE(sky::parse_instant("2016-12-31T23:59:60", TimeScale::tt));
}

TEST_CASE("numbers that are no date do no harm", "[time]") {
    for (const double jd :
         {std::nan(""), std::numeric_limits<double>::infinity(), 1e300, -1e300, -1e9, 0.0}) {
        INFO(jd);
        for (const TimeScale scale : {TimeScale::utc, TimeScale::tai, TimeScale::tt, TimeScale::tdb}) {
            const Instant instant = sky::from_jd(jd, scale);
            CHECK_FALSE(sky::iso(instant).empty());
            CHECK_FALSE(sky::iso(sky::to_tdb(sky::to_utc(instant))).empty());
            CHECK_FALSE(sky::night_of(instant, 10.0).empty());
        }
    }
    CHECK(sky::iso(sky::from_jd(std::nan(""), TimeScale::utc)) == "?");
    CHECK(sky::night_of(sky::from_jd(2460344.4, TimeScale::utc), std::nan("")) == "?");
    sky::CalendarTime time;
    time.year = 2024;
    time.month = 13;
    CHECK_FALSE(sky::instant_of(time, TimeScale::utc));
    time.month = 2;
    time.seconds_of_day = std::nan("");
    CHECK_FALSE(sky::instant_of(time, TimeScale::utc));
}

TEST_CASE("a date comes back to the millisecond after a way through all scales", "[time]") {
    for (const char* date :
         {"2024-02-03T21:04:05.123Z", "1999-12-31T23:59:59.999Z", "2030-06-30T00:00:00.001Z"}) {
        const auto utc = sky::parse_instant(date);
        REQUIRE(utc);
        CHECK(sky::iso(sky::to_utc(sky::to_tdb(sky::to_tt(*utc)))) == date);
    }
}

TEST_CASE("dates are read in every form that headers use", "[time]") {
    const auto plain = sky::parse_instant("2024-02-03T21:04:05.25");
    REQUIRE(plain);
    for (const char* same :
         {"2024-02-03T21:04:05.25Z", "2024-02-03 21:04:05.25", "2024-02-03T22:04:05.25+01:00",
          "2024-02-03T16:04:05.25-0500", " 2024-02-03T21:04:05.2500000 "}) {
        INFO(same);
        const auto other = sky::parse_instant(same);
        REQUIRE(other);
        CHECK(std::abs(sky::seconds_between(*plain, *other)) < 1e-6);
    }
    // FITS standard 4.0, section 9.1: DD/MM/YY is the form before 2000, its year in the 1900s.
    CHECK(sky::iso_date(*sky::parse_instant("03/02/89")) == "1989-02-03");
    CHECK_FALSE(sky::parse_calendar("2024-02-03")->has_time);
}

TEST_CASE("what is no date is refused", "[time]") {
    for (const char* text :
         {"2024-13-01", "2023-02-29", "2024-02-30T00:00:00", "2024-02-03T24:00:01", "2024-02-03T21:61:00",
          "2024-02-03T21:04:05x", "2024-02-03T21:04:05+25:00", "24-2", "", "T21:04", "2024-02-03T-1:00:00",
          "0x10-01-01", "2024-02-03T21:04:1e1"}) {
        INFO(text);
        CHECK_FALSE(sky::parse_instant(text));
    }
}

TEST_CASE("a night runs from noon to noon of the site", "[time]") {
    const auto at = [](const char* date) { return *sky::parse_instant(date); };
    CHECK(sky::night_of(at("2024-02-03T21:00:00"), 0.0) == "2024-02-03");
    CHECK(sky::night_of(at("2024-02-04T04:00:00"), 0.0) == "2024-02-03");
    CHECK(sky::night_of(at("2024-02-04T12:00:01"), 0.0) == "2024-02-04");
    // 110.88 degrees west: local mean time is 7 h 23.5 min behind.
    CHECK(sky::night_of(at("2017-12-20T01:33:00"), -110.88) == "2017-12-19");
    CHECK(sky::night_of(at("2017-12-20T19:24:00"), -110.88) == "2017-12-20");
}
