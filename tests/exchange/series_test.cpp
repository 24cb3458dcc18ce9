// SPDX-License-Identifier: MIT
#include "exchange/series.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "sky/time_scales.hpp"
#include "watched.hpp"

namespace emberline::exchange {
namespace {

Series series_of(const std::string& text) {
    const auto series = parse_series(text, "points.csv");
    INFO((series ? std::string() : one_line(series.error())));
    REQUIRE(series);
    return *series;
}

std::string refusal_of(const std::string& text) {
    const auto series = parse_series(text, "points.csv");
    REQUIRE_FALSE(series);
    CHECK_FALSE(series.error().mend.empty());
    return one_line(series.error());
}

TEST_CASE("Published curves are read as they are: one curve a band, ascending in time", "[series]") {
    // Counts and first points of the published tables named at the head of each file.
    struct Case {
        std::string file;
        std::size_t curves, points;
    };
    for (const Case& c :
         {Case{"lc_sn2011fe", 2, 378}, Case{"lc_sn2012a", 4, 62}, Case{"lc_sn2011by", 4, 123}}) {
        const auto series = read_series(std::string(EMBERLINE_TEST_DATA) + "/exchange/" + c.file + ".csv");
        INFO(c.file << ' ' << (series ? std::string() : one_line(series.error())));
        REQUIRE(series);
        CHECK(series->curves.size() == c.curves);
        std::size_t points = 0;
        for (const auto& curve : series->curves) {
            CHECK(curve.series.front() == c.file);
            points += curve.points.size();
            for (std::size_t i = 0; i < curve.points.size(); ++i) {
                CHECK(lightcurve::check_point(curve, i));
                if (i > 0) CHECK(curve.points[i].bjd_tdb >= curve.points[i - 1].bjd_tdb);
            }
        }
        CHECK(points == c.points);
        CHECK_THAT(series->remarks.back(), Catch::Contains("barycentric"));
    }
    const auto by = read_series(std::string(EMBERLINE_TEST_DATA) + "/exchange/lc_sn2011by.csv");
    REQUIRE(by);
    CHECK(by->curves[0].band.name() == "B");
    const auto& first = by->curves[0].points[0];
    CHECK(first.jd_utc == Approx(2455678.71).margin(1e-8).epsilon(0));
    CHECK(first.magnitude_mag == 14.810);
    CHECK(first.random_err_mag == 0.020);
    // TT - UTC = 66.184 s in 2011 (34 leap seconds + 32.184 s); TDB within 2 ms of TT.
    CHECK((first.bjd_tdb - first.jd_utc) * 86400.0 == Approx(66.184).margin(0.005).epsilon(0));
}

TEST_CASE("Times are read in the scale that their column names", "[series]") {
    const Series all = series_of("JD,bjd_tdb,band,mag,mag_err\n2460344.5,2460344.503,V,15.0,0.01\n");
    CHECK(all.curves[0].points[0].bjd_tdb == 2460344.503);
    CHECK(all.curves[0].points[0].jd_utc == 2460344.5);
    CHECK(all.remarks.empty());
    const Series mjd = series_of("mjd,band,mag,mag_err\n60344.0,V,15.0,0.01\n");
    CHECK(mjd.curves[0].points[0].jd_utc == 2460344.5);
    const Series bjd = series_of("bjd_tdb,band,mag,mag_err\n2460344.5,V,15.0,0.01\n");
    CHECK(bjd.curves[0].points[0].bjd_tdb == 2460344.5);
    CHECK(bjd.curves[0].points[0].jd_utc == Approx(2460344.5 - 69.184 / 86400.0).margin(1e-7).epsilon(0));
    // A time that is said not to be there leaves the other one: the row was refused for "na", and with it a
    // file of ten rows.
    for (const char* none : {"", "na", "--", "nan"}) {
        const Series one =
            series_of(fmt::format("jd,bjd_tdb,band,mag,mag_err\n2460344.5,{},V,15.0,0.01\n", none));
        CHECK(one.curves[0].points[0].jd_utc == 2460344.5);
    }
}

TEST_CASE("A date in the wrong scale is refused with line, column and the right name", "[series]") {
    CHECK_THAT(refusal_of("jd,band,mag\n2460344.5,V,15\n60344.0,V,15\n"),
               Catch::Contains("line 3, column 'jd'") && Catch::Contains("mjd"));
    CHECK_THAT(refusal_of("mjd,band,mag\n2460344.5,V,15\n"), Catch::Contains("Rename the column to jd"));
    CHECK_THAT(refusal_of("bjd_tdb,band,mag\n60344.0,V,15\n"), Catch::Contains("'bjd_tdb'"));
    CHECK_THAT(refusal_of("jd,band,mag\n2024.1,V,15\n"), Catch::Contains("no date"));
    CHECK_THAT(refusal_of("mjd,band,mag\n2024.1,V,15\n"), Catch::Contains("no date"));
    CHECK_THAT(refusal_of("jd,band,mag\nsoon,V,15\n"), Catch::Contains("number of days"));
    CHECK_THAT(refusal_of("jd,band,mag\nnan,V,15\n"), Catch::Contains("The time is missing"));
}

TEST_CASE("An error that is missing, zero or negative is a guess, marked and said", "[series]") {
    const Series series =
        series_of("jd,band,mag,mag_err\n2460344.5,V,15,\n2460345.5,V,15.1,0\n2460346.5,V,15.2,0.02\n");
    CHECK(series.curves[0].points[0].random_err_mag == assumed_err_mag);
    CHECK(series.curves[0].points[1].random_err_mag == assumed_err_mag);
    CHECK(series.curves[0].points[2].random_err_mag == 0.02);
    CHECK(series.curves[0].points[0].err_is_guess);
    CHECK(series.curves[0].points[1].err_is_guess);
    CHECK_FALSE(series.curves[0].points[2].err_is_guess);
    CHECK(series.remarks.at(0) ==
          "2 points have no error above zero: their scatter tells one where it can, else 0.05 mag "
          "stands in.");
    for (const std::string err : {",-0.1", ",99.99", ",nan", ",0.000"}) {
        const Series guessed = series_of("jd,band,mag,err\n2460344.5,V,15" + err + "\n");
        INFO(err);
        CHECK(guessed.curves[0].points[0].err_is_guess);
        CHECK(guessed.remarks.at(0) ==
              "1 point has no error above zero: their scatter tells one where it can, else 0.05 mag "
              "stands in.");
    }
}

TEST_CASE("Limits are known by either column or by a sign before the magnitude", "[series]") {
    for (const std::string text : {
             "jd,band,mag,is_limit\n2460344.5,V,18.5,1\n",
             "jd,band,mag,Upper_Limit\n2460344.5,V,18.5,True\n",
             "jd,band,mag\n2460344.5,V,<18.5\n",
             "jd,band,mag\n2460344.5,V,>18.5\n",
         }) {
        INFO(text);
        const Series series = series_of(text);
        const auto& point = series.curves.at(0).points.at(0);
        CHECK(point.is_limit);
        CHECK(point.limit_mag == 18.5);
        CHECK_FALSE(point.magnitude_mag);
        CHECK(lightcurve::check_point(series.curves[0], 0));
    }
    CHECK_FALSE(series_of("jd,band,mag,is_limit\n2460344.5,V,18.5,0\n").curves[0].points[0].is_limit);
    CHECK_THAT(refusal_of("jd,band,mag,is_limit\n2460344.5,V,18.5,perhaps\n"), Catch::Contains("'is_limit'"));
}

TEST_CASE("Each column of magnitudes and errors is read in its own unit", "[series][ecsv]") {
    // The last column's unit was taken for all errors, the magnitude's for the limit.
    const Series series = series_of(R"(# %ECSV 1.0
# ---
# delimiter: ','
# datatype:
# - {name: jd, unit: d, datatype: float64}
# - {name: band, datatype: string}
# - {name: mag, unit: mag, datatype: float64}
# - {name: mag_err_random, unit: mmag, datatype: float64}
# - {name: mag_err_common, unit: mag, datatype: float64}
# - {name: is_limit, datatype: bool}
# - {name: limit_mag, unit: mmag, datatype: float64}
jd,band,mag,mag_err_random,mag_err_common,is_limit,limit_mag
2460344.5,V,15.1,20,0.03,False,""
2460345.5,V,"","","",True,18500
)");
    REQUIRE(series.curves.size() == 1);
    REQUIRE(series.curves[0].points.size() == 2);
    const lightcurve::Point &seen = series.curves[0].points[0], &limit = series.curves[0].points[1];
    CHECK(seen.magnitude_mag == 15.1);
    CHECK(seen.random_err_mag == Approx(0.020));
    REQUIRE(seen.common_err_mag.size() == 1);
    CHECK(seen.common_err_mag[0] == Approx(0.03));
    CHECK(limit.limit_mag == Approx(18.5));
}

TEST_CASE("Bands of several spellings make one curve, other columns are ignored, rows are sorted",
          "[series]") {
    const Series series = series_of(
        "# somebody's\njd,telescope,band,mag,err\n2460346.5,a,R,15.2,0.02\n2460344.5,b,Rc,15.0,0.02\n");
    REQUIRE(series.curves.size() == 1);
    CHECK(series.curves[0].band.name() == "Rc");
    CHECK(series.curves[0].series.front() == "points");
    CHECK(series.curves[0].points[0].magnitude_mag == 15.0);
    CHECK(series.curves[0].points[0].label == "line 4");
}

TEST_CASE("What cannot be read is refused by line and column; rows without a magnitude are counted",
          "[series]") {
    CHECK_THAT(refusal_of("jd,band,mag\n2460344.5,Q,15\n"), Catch::Contains("line 2, column 'band'"));
    CHECK_THAT(refusal_of("jd,band,mag\n2460344.5,V,bright\n"), Catch::Contains("line 2, column 'mag'"));
    CHECK_THAT(refusal_of("jd,band,mag\n2460344.5,V,99.99\n"), Catch::Contains("no point"));
    CHECK_THAT(refusal_of("jd,band,mag,err\n2460344.5,V,15,good\n"), Catch::Contains("column 'err'"));
    CHECK_THAT(refusal_of("band,mag\nV,15\n"), Catch::Contains("no column of times"));
    CHECK_THAT(refusal_of("jd,mag\n2460344.5,15\n"), Catch::Contains("no column of bands"));
    CHECK_THAT(refusal_of("jd,band\n2460344.5,V\n"), Catch::Contains("no column of magnitudes"));
    CHECK_THAT(refusal_of("jd,band,mag\n"), Catch::Contains("no point"));
    CHECK_THAT(refusal_of(""), Catch::Contains("empty"));
    CHECK_THAT(refusal_of("jd band mag\n2460344.5 V 15\n"), Catch::Contains("set apart by commas"));
    CHECK_FALSE(read_series("no/such/file.csv"));
    const Series series = series_of("jd,band,mag\n2460344.5,V,\n2460345.5,V,15\n2460346.5,V,99.99\n");
    CHECK(series.curves[0].points.size() == 1);
    CHECK(series.remarks.at(0) == "2 rows have no magnitude and are left out.");
}

// `n` good rows, a day apart.
std::string rows(std::size_t n) {
    std::string text = "jd,band,mag,mag_err\n";
    for (std::size_t i = 0; i < n; ++i)
        text += fmt::format("{:.3f},V,{:.3f},0.02\n", 2460344.5 + static_cast<double>(i),
                            15.0 + 0.01 * static_cast<double>(i));
    return text;
}

TEST_CASE("Few bad rows are left out and the first is named; one in ten refuses the file", "[series]") {
    const Series series = series_of(rows(20) + "2460400.5,V,bright,0.02\n");
    CHECK(series.curves[0].points.size() == 20);
    CHECK_THAT(series.remarks.at(0), Catch::StartsWith("1 row cannot be read and is left out") &&
                                         Catch::Contains("points.csv, line 22, column 'mag'"));
    CHECK_THAT(refusal_of(rows(9) + "2460400.5,V,bright,0.02\n"), Catch::Contains("line 11, column 'mag'"));
    // A date in another scale is never a slip of one row.
    CHECK_THAT(refusal_of(rows(200) + "60400.0,V,15.0,0.02\n"),
               Catch::Contains("line 202, column 'jd'") && Catch::Contains("half a day apart"));
}

TEST_CASE("Rows of a band that is not known are left out by its name, however many", "[series]") {
    const Series series = series_of(rows(3) + "2460344.5,UVW1,15,0.1\n2460345.5,UVW1,15,0.1\n");
    CHECK(series.curves.size() == 1);
    CHECK(series.remarks.at(0) == "2 rows are of 'UVW1', no known band, and are left out.");
}

TEST_CASE("Band names in use are known; R and I alone are said to be taken as Cousins'", "[series]") {
    const Series plain = series_of("jd,band,mag,err\n2460344.5,R,15,0.1\n2460345.5,I,15,0.1\n");
    CHECK(plain.curves[0].band.name() == "Ic");
    CHECK(plain.curves[1].band.name() == "Rc");
    CHECK_THAT(plain.remarks.at(0), Catch::StartsWith("I and R are read as of Cousins' system"));
    for (const auto& [name, meant] : std::vector<std::pair<std::string, std::string>>{{"Cousins_R", "Rc"},
                                                                                      {"R_Cousins", "Rc"},
                                                                                      {"Johnson-V", "V"},
                                                                                      {"SDSS_g", "g"},
                                                                                      {"r'", "r"},
                                                                                      {"RJ", "RJ"},
                                                                                      {"Y", "y"}}) {
        INFO(name);
        const Series series = series_of("bjd_tdb,band,mag,err\n2460344.5," + name + ",15,0.1\n");
        CHECK(series.curves[0].band.name() == meant);
        CHECK(series.remarks.empty());
    }
}

TEST_CASE("A column of observers splits a file into series", "[series]") {
    const Series series = series_of(
        "jd,observer,band,mag,err\n2460346.5,AAA,V,15.2,0.02\n2460344.5,BBB,V,15.0,0.02\n"
        "2460345.5,AAA,V,15.1,0.02\n2460345.5,,B,15.1,0.02\n");
    REQUIRE(series.curves.size() == 3);
    CHECK(series.curves[0].series.front() == "points");  // B, without a name
    CHECK(series.curves[1].series.front() == "AAA");
    CHECK(series.curves[1].points.size() == 2);
    CHECK(series.curves[1].points[0].magnitude_mag == 15.1);
    CHECK(series.curves[2].series.front() == "BBB");
}

TEST_CASE("Times are known by many names, and what was taken off is added", "[series]") {
    struct Case {
        std::string column, value;
        double jd_utc;
    };
    for (const Case& c :
         {Case{"JD-2450000", "10344.25", 2460344.25}, Case{"jd_2400000.5", "60343.75", 2460344.25},
          Case{"MJD_UTC", "60343.75", 2460344.25}, Case{"hjd", "2460344.25", 2460344.25},
          Case{"mjd_tt", "60343.75", 2460344.25 - 69.184 / 86400.0},
          Case{"date_obs", "2024-02-03T18:00:00", 2460344.25},
          Case{"DATE-OBS", "2024-02-03 18:00:00Z", 2460344.25}}) {
        INFO(c.column);
        const Series series = series_of(c.column + ",band,mag,err\n" + c.value + ",V,15,0.1\n");
        const auto& point = series.curves[0].points[0];
        CHECK(point.jd_utc == Approx(c.jd_utc).margin(1e-8).epsilon(0));
        // 37 leap seconds and 32.184 s, TDB within 2 ms of TT.
        CHECK((point.bjd_tdb - c.jd_utc) * 86400.0 == Approx(69.184).margin(0.01).epsilon(0));
    }
    CHECK_THAT(series_of("hjd,band,mag,err\n2460344.5,V,15,0.1\n").remarks.at(0),
               Catch::Contains("heliocentric"));
    CHECK_THAT(series_of("bjd,band,mag,err\n2460344.5,V,15,0.1\n").remarks.at(0),
               Catch::Contains("taken as TDB"));
    // The observer's clock for JD, the Sun's for nothing else.
    const Series both = series_of("hjd,jd,band,mag,err\n2460344.503,2460344.5,V,15,0.1\n");
    CHECK(both.curves[0].points[0].jd_utc == 2460344.5);
    CHECK_THAT(refusal_of("date_obs,band,mag\n2024-02-03,V,15\n"), Catch::Contains("time of day"));
}

TEST_CASE("TDB taken once a day is that of each instant, to what a double holds", "[series]") {
    std::string text = "mjd,band,mag,mag_err\n";
    for (int i = 0; i < 1000; ++i)
        text += fmt::format("{:.4f},V,15,0.02\n", 57700.0 + 0.7351 * i);  // over the leap second of 2017
    const Series series = series_of(text);
    for (const auto& point : series.curves[0].points) {
        const double exact = sky::to_tdb(sky::from_jd(point.jd_utc, TimeScale::utc)).jd();
        // 28 µs of half a day, and two roundings of 40 µs.
        CHECK(std::abs(point.bjd_tdb - exact) * 86400.0 < 1e-4);
    }
}

TEST_CASE("A hundred thousand rows in any order, some of one time", "[series]") {
    std::string text = "mjd,band,mag,mag_err\n";
    for (int i = 0; i < 100000; ++i)
        text += fmt::format("{:.5f},{},15.{:03d},0.02\n", 60000.0 + (i * 7919) % 50000 * 0.01,
                            i % 2 == 0 ? "V" : "B", i % 1000);
    const auto start = std::chrono::steady_clock::now();
    const Series series = series_of(text);
    const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    // About a second of one core; a slip in its order would be minutes.
    CHECK(seconds < 20.0 * testing::watched_slowdown);
    CHECK(series.curves[0].points.size() + series.curves[1].points.size() == 100000);
    CHECK(std::is_sorted(
        series.curves[0].points.begin(), series.curves[0].points.end(),
        [](const lightcurve::Point& a, const lightcurve::Point& b) { return a.bjd_tdb < b.bjd_tdb; }));
}

}  // namespace
}  // namespace emberline::exchange
