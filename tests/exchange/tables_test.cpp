// SPDX-License-Identifier: MIT
#include "exchange/tables.hpp"

#include <catch2/catch.hpp>
#include <limits>
#include <sstream>

#include "exchange/measurement_samples.hpp"
#include "exchange/outside_reader.hpp"
#include "exchange/series.hpp"
#include "expected_table.hpp"

namespace emberline::exchange {
namespace {

// The contract of `export`, design section 2.
constexpr auto frame_head =
    "frame,night,band,jd_utc,bjd_tdb,exposure_s,airmass,mag,mag_err,limit_mag,is_limit,method,transformed,"
    "fwhm_px,aperture_px,zero_point,zero_point_err,n_comparison,check_label,check_mag,check_residual,flags,"
    "flux_e,flux_err_e\n";
constexpr auto night_head =
    "night,band,jd_utc,bjd_tdb,mag,mag_err,mag_err_random,mag_err_common,is_limit,n_frames,n_rejected,"
    "airmass,"
    "method,transformed,flags\n";

const TableMeta meta{.transient = "DEMO \"SN\" 1: a\\b #c\nd",
                     .position = SkyPosition{Angle::degrees(201.338), Angle::degrees(37.27)},
                     .observer_code = "XYZ",
                     .observer_name = "",
                     .chart = "X00000",
                     .software = "Emberline 0.1.0",
                     .campaign = "demo",
                     .solution = "campaign.ledger, solution 3",
                     .ledger_link = "campaign.ledger",
                     .bands = {parse_band("B").value(), parse_band("V").value()}};

std::vector<night::FrameMeasurement> frames() {
    auto hostile = test::sample_frame();
    hostile.frame = "frames/a, \"b\" #1.fits";
    hostile.caveats = Caveats{Caveat::cloud, Caveat::trailed};
    night::FrameMeasurement unused;
    unused.frame = "frames/v_003.fits";
    unused.night = "2024-02-03";
    unused.band = parse_band("V").value();
    unused.jd_utc = 2460344.6;
    unused.used = false;
    return {test::sample_frame(), hostile, test::as_limit(test::sample_frame()), unused};
}

std::vector<night::NightMeasurement> nights() {
    auto flagged = test::sample_night("2024-02-05", "B");
    flagged.caveats = Caveats{Caveat::cloud, Caveat::no_check_star};
    flagged.airmass.reset();
    flagged.transformed = true;
    return {test::sample_night(), test::as_limit(test::sample_night("2024-02-04")), flagged};
}

std::string frame_table(TableFormat format) {
    std::ostringstream out;
    FrameTableWriter writer(out, format, meta);
    for (const auto& m : frames())
        writer.write(m);
    writer.finish();
    return out.str();
}

std::string night_table(TableFormat format) {
    std::ostringstream out;
    NightTableWriter writer(out, format, meta);
    for (const auto& m : nights())
        writer.write(m);
    writer.finish();
    return out.str();
}

TEST_CASE("The frame table has the columns of the contract, empty where a value does not exist", "[tables]") {
    const std::string text = frame_table(TableFormat::csv);
    CHECK(text.substr(0, text.find('\n') + 1) == frame_head);
    const auto table = parse_table(text, "frames.csv");
    REQUIRE(table);
    REQUIRE(table->rows.size() == 4);
    const auto field = [&](std::size_t row, const std::string& column) {
        return test::text(*table, table->rows[row], column);
    };
    CHECK(field(0, "jd_utc") == "2460344.51234568");
    CHECK(field(0, "is_limit") == "0");
    CHECK(field(0, "transformed") == "0");
    CHECK(field(0, "flux_e") == "2345.678");
    CHECK(field(0, "n_comparison") == "3");
    CHECK(field(0, "check_label") == "131");
    CHECK(field(1, "frame") == "frames/a, \"b\" #1.fits");
    CHECK(field(1, "flags") == "cloud;trailed");
    CHECK(field(2, "is_limit") == "1");
    CHECK(field(2, "mag").empty());
    CHECK(field(2, "mag_err").empty());
    CHECK(field(2, "limit_mag") == "19.50000");
    for (const std::string column : {"bjd_tdb", "mag", "limit_mag", "zero_point", "flux_e", "fwhm_px",
                                     "aperture_px", "airmass", "check_label", "check_mag", "flags"}) {
        INFO(column);
        CHECK(field(3, column).empty());
    }
    CHECK(text.find("nan") == std::string::npos);
}

TEST_CASE("The night table has the columns of the contract; a limit stands under mag without errors",
          "[tables]") {
    const std::string text = night_table(TableFormat::csv);
    CHECK(text.substr(0, text.find('\n') + 1) == night_head);
    const auto table = parse_table(text, "nights.csv");
    REQUIRE(table);
    REQUIRE(table->rows.size() == 3);
    const auto field = [&](std::size_t row, const std::string& column) {
        return test::text(*table, table->rows[row], column);
    };
    CHECK(field(0, "n_frames") == "12");
    CHECK(field(0, "mag_err_common") == "0.00800");
    CHECK(field(1, "mag") == "19.50000");
    CHECK(field(1, "is_limit") == "1");
    for (const std::string column : {"mag_err", "mag_err_random", "mag_err_common"})
        CHECK(field(1, column).empty());
    CHECK(field(2, "flags") == "cloud;no-check-star");
    CHECK(field(2, "airmass").empty());
    CHECK(field(2, "transformed") == "1");
}

TEST_CASE("Digits are enough: numbers read back within half a unit of the last", "[tables]") {
    const auto table = parse_table(night_table(TableFormat::csv), "nights.csv");
    REQUIRE(table);
    const auto night = test::sample_night();
    const auto number = [&](const std::string& column) {
        return test::number(*table, table->rows[0], column);
    };
    CHECK(number("jd_utc") == Approx(night.jd_utc).margin(5e-9).epsilon(0));  // 0.4 ms
    CHECK(number("bjd_tdb") == Approx(night.bjd_tdb).margin(5e-9).epsilon(0));
    CHECK(number("mag") == Approx(*night.magnitude_mag).margin(5e-6).epsilon(0));
    CHECK(number("mag_err") == Approx(*night.total_err_mag()).margin(5e-6).epsilon(0));
}

TEST_CASE("A value that is no number is an empty field", "[tables]") {
    auto night = test::sample_night();
    night.magnitude_mag = std::numeric_limits<double>::quiet_NaN();
    night.common_err_mag = std::numeric_limits<double>::infinity();
    night.jd_utc = std::numeric_limits<double>::quiet_NaN();
    std::ostringstream out;
    NightTableWriter(out, TableFormat::csv, {}).write(night);
    CHECK_THAT(out.str(), !Catch::Contains("nan") && !Catch::Contains("inf"));
}

TEST_CASE("An exported night table is a series that can be read again", "[tables][series]") {
    const auto series = parse_series(night_table(TableFormat::csv), "nights.csv");
    REQUIRE(series);
    REQUIRE(series->curves.size() == 2);
    CHECK(series->curves[1].points.size() == 2);
    CHECK(series->curves[1].points[0].bjd_tdb ==
          Approx(test::sample_night().bjd_tdb).margin(5e-9).epsilon(0));
}

TEST_CASE("astropy reads the ECSV tables: types, units, missing values, meta", "[tables]") {
    // ECSV 1.0: astropy's APE 6. The reader is astropy's own.
    if (!test::has_astropy()) {
        WARN("SKIPPED: astropy is not installed, so nobody outside has read the ECSV tables.");
        return;
    }
    const test::ScratchFolder folder;
    const std::string script = folder.file("check.py", R"(import sys
from astropy.table import Table
f = Table.read(sys.argv[1], format='ascii.ecsv')
assert len(f) == 4 and len(f.columns) == 24, (len(f), len(f.columns))
assert f['jd_utc'].dtype == 'float64' and str(f['jd_utc'].unit) == 'd'
assert abs(f['jd_utc'][0] - 2460344.51234568) < 1e-8
assert str(f['mag'].unit) == 'mag' and str(f['flux_e'].unit) == 'electron' and str(f['fwhm_px'].unit) in ('pix', 'pixel')
assert f['is_limit'].dtype == bool and list(f['is_limit']) == [False, False, True, False]
assert f['n_comparison'].dtype == 'int64' and f['n_comparison'][0] == 3
assert f['mag'].mask[2] and f['mag'].mask[3] and not f['mag'].mask[0]
assert f['frame'][1] == 'frames/a, "b" #1.fits', f['frame'][1]
assert f['flags'][1] == 'cloud;trailed'
assert f['mag'].description
assert f['mag'].meta['ucd'] == 'phot.mag;em.opt;meta.main', f['mag'].meta
assert f['jd_utc'].info.format == '.8f'
assert list(f.meta)[:3] == ['transient', 'observer', 'software'], f.meta
assert f.meta['transient'] == 'DEMO "SN" 1: a\\b #c\ufffdd', f.meta
assert f.meta['level'] == 'frame' and f.meta['solution'] == 'campaign.ledger, solution 3'
assert 'UTC' in f.meta['jd_utc'] and 'TDB' in f.meta['bjd_tdb'] and f.meta['magnitude_system'] == 'Vega'
assert f.meta['position'] == {'system': 'ICRS', 'ra_deg': 201.338, 'dec_deg': 37.27}, f.meta['position']
assert f.meta['photometry']['V'] == {'system': 'Vega', 'wavelength_nm': 544.8, 'width_nm': 84.0}
n = Table.read(sys.argv[2], format='ascii.ecsv')
assert len(n) == 3 and len(n.columns) == 15
assert list(n['night']) == ['2024-02-03', '2024-02-04', '2024-02-05']
assert n['mag'][1] == 19.5 and n['mag_err'].mask[1] and list(n['transformed']) == [False, False, True])");
    const auto verdict = test::say(std::string(test::python) + " " + script + " " +
                                   folder.file("frames.ecsv", frame_table(TableFormat::ecsv)) + " " +
                                   folder.file("nights.ecsv", night_table(TableFormat::ecsv)));
    INFO(verdict.out);
    CHECK(verdict.status == 0);
}

}  // namespace
}  // namespace emberline::exchange
