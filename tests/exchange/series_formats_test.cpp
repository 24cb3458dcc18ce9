// SPDX-License-Identifier: MIT
// Series from the kinds of file that others write, and our own exports back.
#include <fmt/format.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "exchange/measurement_samples.hpp"
#include "exchange/network_lines.hpp"
#include "exchange/series.hpp"
#include "exchange/tables.hpp"
#include "numerics/random.hpp"
#include "watched.hpp"

namespace emberline::exchange {
namespace {

Series series_of(const std::string& text, const std::string& source = "points.txt") {
    const auto series = parse_series(text, source);
    INFO((series ? std::string() : one_line(series.error())));
    REQUIRE(series);
    return *series;
}

std::string refusal_of(const std::string& text) {
    const auto series = parse_series(text, "points.txt");
    REQUIRE_FALSE(series);
    CHECK_FALSE(series.error().mend.empty());
    return one_line(series.error());
}

bool remarked(const Series& series, const std::string& words) {
    for (const std::string& remark : series.remarks) {
        if (remark.find(words) != std::string::npos) return true;
    }
    return false;
}

std::string report_head(const std::string& delimiter = ",", const std::string& date = "JD") {
    return "#TYPE=Extended\n#OBSCODE=XYZ\n#SOFTWARE=by hand\n#DELIM=" + delimiter + "\n#DATE=" + date +
           "\n#OBSTYPE=CCD\n";
}

// A line with the delimiter `d`.
std::string line(const std::string& date, const std::string& mag, const std::string& err,
                 const std::string& filter, const std::string& type = "STD",
                 const std::string& star = "DEMO SN 1", char d = ',') {
    std::string text = star + "," + date + "," + mag + "," + err + "," + filter + ",NO," + type +
                       ",ENSEMBLE,na,131,13.105,1.235,na,X00000,na\n";
    for (char& c : text)
        c = c == ',' ? d : c;
    return text;
}

TEST_CASE("The network's report: limits, na, several observers, each a series", "[series][network]") {
    // Fields and header: check-values 1.1 (the network's Extended format 1.2).
    const Series series =
        series_of(report_head() + line("2460344.50000", "15.000", "0.020", "V") +
                  line("2460343.50000", "14.900", "na", "V") + line("2460345.50000", "<18.5", "na", "V") +
                  line("2460345.50000", "15.300", "0.030", "R") + "# a comment\n#OBSCODE=ABC\n" +
                  line("2460344.60000", "15.100", "0.010", "V"));
    REQUIRE(series.curves.size() == 3);
    CHECK(series.curves[0].band.name() == "Rc");
    const auto& v = series.curves[1];
    CHECK(v.series.front() == "XYZ");
    REQUIRE(v.points.size() == 3);
    CHECK(v.points[0].magnitude_mag == 14.9);
    CHECK(v.points[0].err_is_guess);
    CHECK(v.points[1].random_err_mag == 0.02);
    CHECK_FALSE(v.points[1].err_is_guess);
    CHECK(v.points[1].label == "line 7");
    CHECK(v.points[2].is_limit);
    CHECK(v.points[2].limit_mag == 18.5);
    CHECK(series.curves[2].series.front() == "ABC");
    CHECK(series.curves[2].points[0].jd_utc == 2460344.6);
    // R is the network's code of Cousins' R: nothing to doubt.
    CHECK_FALSE(remarked(series, "Cousins"));
    CHECK(remarked(series, "1 point has no error"));
}

TEST_CASE("The network's report: every delimiter and form of date", "[series][network]") {
    struct Case {
        std::string word;
        char c;
    };
    for (const Case& d :
         {Case{",", ','}, Case{"comma", ','}, Case{"tab", '\t'}, Case{";", ';'}, Case{"!", '!'}}) {
        INFO(d.word);
        const Series series =
            series_of(report_head(d.word) + line("2460344.5", "15.000", "0.020", "V", "STD", "DEMO", d.c));
        CHECK(series.curves[0].points[0].magnitude_mag == 15.0);
    }
    const Series hjd = series_of(report_head(",", "HJD") + line("2460344.5", "15.000", "0.020", "V"));
    CHECK(remarked(hjd, "heliocentric"));
    CHECK_FALSE(remarked(hjd, "8.3 minutes"));
    // 2007-12-31 12:59:59 a.m., the specification's own example, is 00:59:59: JD 2454465.5 + 3599/86400.
    const Series excel =
        series_of(report_head(",", "EXCEL") + line("12/31/2007 12:59:59 a.m", "15.000", "0.020", "V"));
    CHECK(excel.curves[0].points[0].jd_utc == Approx(2454465.5 + 3599.0 / 86400.0).margin(1e-8).epsilon(0));
}

TEST_CASE("The network's report: what cannot be a point of one star's curve", "[series][network]") {
    const std::string good = line("2460344.5", "15.000", "0.020", "V");
    std::string many;
    for (int i = 0; i < 20; ++i)
        many += good;
    const Series dif = series_of(report_head() + good + line("2460345.5", "1.250", "0.020", "V", "DIF") +
                                 line("2460345.5", "15.0", "0.020", "HA"));
    CHECK(dif.curves.size() == 1);
    CHECK(dif.curves[0].points.size() == 1);
    CHECK(remarked(dif, "1 row is a difference of magnitudes"));
    CHECK(remarked(dif, "'HA', no known band"));
    CHECK_THAT(refusal_of(report_head() + good + line("2460345.5", "9.0", "0.1", "V", "STD", "SS CYG")),
               Catch::Contains("2 stars"));
    const Series slip = series_of(report_head() + many + line("2460345.5", "bright", "0.1", "V"));
    CHECK(slip.curves[0].points.size() == 20);
    CHECK(remarked(slip, "points.txt, line 27, field MAGNITUDE"));
    CHECK_THAT(refusal_of(report_head() + line("60344.0", "15.0", "0.1", "V")),
               Catch::Contains("line 7, field DATE") && Catch::Contains("2400000.5"));
    CHECK_THAT(refusal_of(report_head() + "a,b,c\n"), Catch::Contains("3 fields"));
    CHECK_THAT(refusal_of(report_head()), Catch::Contains("no point"));
    CHECK_THAT(refusal_of("#TYPE=Visual\n#OBSCODE=XYZ\n"), Catch::Contains("visual"));
}

TEST_CASE("Our own report comes back as the series that it was made of", "[series][network]") {
    const std::vector<night::NightMeasurement> nights{
        test::sample_night("2024-02-03"), test::as_limit(test::sample_night("2024-02-04")),
        test::sample_night("2024-02-03", "B"), test::sample_night("2024-02-03", "Rc")};
    for (const std::string delimiter : {",", "tab", ";"}) {
        LineChoice choice;
        choice.delimiter = delimiter;
        choice.software = "Emberline";
        const auto lines = network_lines(nights, test::sample_campaign(), choice);
        REQUIRE(lines);
        const auto text = write_network_report(lines->report);
        REQUIRE(text);
        const Series series = series_of(*text);
        REQUIRE(series.curves.size() == 3);
        const auto& v = series.curves[2];
        CHECK(v.band.name() == "V");
        CHECK(v.series.front() == "XYZ");
        REQUIRE(v.points.size() == 2);
        // What is printed: five decimals of a day, three of a magnitude.
        const auto& night = nights[0];
        for (const auto& point : v.points) {
            CHECK(point.jd_utc == Approx(night.jd_utc).margin(6e-6).epsilon(0));
            if (point.is_limit) {
                CHECK(point.limit_mag == 19.5);
            } else {
                CHECK(*point.magnitude_mag == Approx(*night.magnitude_mag).margin(6e-4).epsilon(0));
                CHECK(*point.random_err_mag == Approx(*night.total_err_mag()).margin(6e-4).epsilon(0));
            }
        }
    }
}

template <class Writer, class Row>
std::string exported(TableFormat format, const std::vector<Row>& rows) {
    std::ostringstream out;
    TableMeta meta;
    meta.software = "Emberline";
    meta.transient = "DEMO SN 1";
    Writer writer(out, format, meta);
    for (const Row& row : rows)
        writer.write(row);
    writer.finish();
    return out.str();
}

TEST_CASE("Our own tables of nights come back with random and common errors apart", "[series]") {
    auto flagged = test::sample_night("2024-02-05");
    flagged.jd_utc += 2.0;
    flagged.bjd_tdb += 2.0;
    flagged.caveats = Caveats{Caveat::cloud};
    const std::vector<night::NightMeasurement> nights{
        test::sample_night(), test::as_limit(test::sample_night("2024-02-04")), flagged};
    for (const TableFormat format : {TableFormat::csv, TableFormat::ecsv}) {
        const Series series = series_of(exported<NightTableWriter>(format, nights));
        REQUIRE(series.curves.size() == 1);
        const auto& curve = series.curves[0];
        CHECK(curve.common_names == std::vector<std::string>{"calibration"});
        REQUIRE(curve.points.size() == 3);
        const auto& first = curve.points[0];
        CHECK(first.bjd_tdb == Approx(nights[0].bjd_tdb).margin(5e-9).epsilon(0));
        CHECK(first.jd_utc == Approx(nights[0].jd_utc).margin(5e-9).epsilon(0));
        CHECK(*first.magnitude_mag == Approx(*nights[0].magnitude_mag).margin(5e-6).epsilon(0));
        CHECK(*first.random_err_mag == Approx(*nights[0].random_err_mag).margin(5e-6).epsilon(0));
        CHECK(first.common_err_mag.at(0) == Approx(*nights[0].common_err_mag).margin(5e-6).epsilon(0));
        CHECK(curve.points[1].is_limit);
        CHECK(curve.points[1].limit_mag == 19.5);
        CHECK(curve.points[2].caveats == flagged.caveats);
        for (std::size_t i = 0; i < 3; ++i)
            CHECK(lightcurve::check_point(curve, i));
    }
}

TEST_CASE("Our own tables of frames come back, limits with the flux behind them", "[series]") {
    auto unused = test::sample_frame();
    unused.magnitude_mag.reset();
    const std::vector<night::FrameMeasurement> frames{test::sample_frame(),
                                                      test::as_limit(test::sample_frame()), unused};
    for (const TableFormat format : {TableFormat::csv, TableFormat::ecsv}) {
        const Series series = series_of(exported<FrameTableWriter>(format, frames));
        REQUIRE(series.curves.size() == 1);
        REQUIRE(series.curves[0].points.size() == 2);
        const auto& limit = series.curves[0].points[1];
        CHECK(limit.is_limit);
        REQUIRE(limit.flux);
        // -3 electrons ± 20 at a zero point of 23.4567: a flux of 1 is magnitude 25.
        const double scale = flux_ratio(frames[1].zero_point_mag - lightcurve::flux_zero_mag);
        CHECK(limit.flux->value == Approx(-3.0 * scale).epsilon(1e-4));
        CHECK(limit.flux->err == Approx(20.0 * scale).epsilon(1e-4));
        CHECK_FALSE(series.curves[0].points[0].flux);
        CHECK(remarked(series, "1 row has no magnitude"));
    }
}

TEST_CASE("ECSV with times of its own kind, as astropy 5.2.1 writes them", "[series][ecsv]") {
    // Both heads as astropy 5.2.1 wrote them (QTable with a Time column), one column description left out.
    const std::string mjd = R"(# %ECSV 1.0
# ---
# datatype:
# - {name: time, datatype: float64}
# - {name: mag, unit: mag, datatype: float64}
# - {name: mag_err, datatype: float64}
# - {name: band, datatype: string}
# - {name: upper_limit, datatype: bool}
# meta: !!omap
# - __serialized_columns__:
#     mag:
#       __class__: astropy.units.quantity.Quantity
#       unit: !astropy.units.Unit {unit: mag}
#       value: !astropy.table.SerializedColumn {name: mag}
#     time:
#       __class__: astropy.time.core.Time
#       format: mjd
#       in_subfmt: '*'
#       out_subfmt: '*'
#       precision: 3
#       scale: tdb
#       value: !astropy.table.SerializedColumn {name: time}
# schema: astropy-2.0
time mag mag_err band upper_limit
59000.25 15.1 0.01 V True
59001.5 15.2 "" B False
)";
    const Series series = series_of(mjd);
    REQUIRE(series.curves.size() == 2);
    CHECK(series.curves[0].points[0].err_is_guess);
    const auto& limit = series.curves[1].points[0];
    CHECK(limit.is_limit);
    CHECK(limit.limit_mag == 15.1);
    CHECK(limit.bjd_tdb == Approx(2459000.75).margin(1e-8).epsilon(0));
    CHECK(limit.jd_utc == Approx(2459000.75 - 69.184 / 86400.0).margin(3e-8).epsilon(0));

    std::string isot = mjd;
    const auto replace = [&](const std::string& from, const std::string& to) {
        isot.replace(isot.find(from), from.size(), to);
    };
    replace("format: mjd", "format: isot");
    replace("scale: tdb", "scale: utc");
    replace("59000.25", "2020-05-31T06:00:00.000");
    replace("59001.5", "2020-06-01T12:00:00.000");
    CHECK(series_of(isot).curves[1].points[0].jd_utc == Approx(2459000.75).margin(1e-8).epsilon(0));
    std::string units = mjd;
    units.replace(units.find("unit: mag, "), 11, "unit: mJy, ");
    CHECK_THAT(refusal_of(units), Catch::Contains("'mJy'") && Catch::Contains("column 'mag'"));
}

std::string votable(const std::string& fields, const std::string& rows, const std::string& before = "") {
    return R"(<?xml version="1.0"?>
<VOTABLE xmlns="http://www.ivoa.net/xml/VOTable/v1.3" version="1.4"><RESOURCE>)" +
           before + "<TABLE>" + fields + "<DATA><TABLEDATA>" + rows +
           "</TABLEDATA></DATA></TABLE></RESOURCE></VOTABLE>";
}

TEST_CASE("A VOTable's time system says what its numbers are", "[series][votable]") {
    // The standard's own example (IVOA VOTable 1.5): timeorigin 2455197.5, obs_time 1821.2846388435 d; its
    // scale there is TCB, which is refused here: TDB in its place. Sum: JD 2457018.7846388435.
    const std::string fields =
        R"(<FIELD ID="t" name="obs_time" ucd="time.epoch" unit="d" datatype="double" ref="frame"/>
<FIELD name="phot" ucd="phot.mag;em.opt.V" unit="mag" datatype="double"/>
<FIELD name="unsure" ucd="stat.error;phot.mag;em.opt.V" unit="mag" datatype="float"/>)";
    const std::string rows =
        "<TR><TD>1821.2846388435</TD><TD>15.25</TD><TD>0.02</TD></TR>"
        "<TR><TD>1822.0</TD><TD>15.50</TD><TD></TD></TR>";
    const auto timesys = [](const std::string& scale, const std::string& origin,
                            const std::string& place = "BARYCENTER") {
        return "<TIMESYS ID=\"frame\" timescale=\"" + scale + "\" refposition=\"" + place +
               "\" timeorigin=\"" + origin + "\"/>";
    };
    const Series series = series_of(votable(fields, rows, timesys("TDB", "2455197.5")));
    REQUIRE(series.curves.size() == 1);
    CHECK(series.curves[0].band.name() == "V");
    const auto& points = series.curves[0].points;
    CHECK(points[0].bjd_tdb == Approx(2457018.7846388435).margin(1e-9).epsilon(0));
    CHECK(points[0].random_err_mag == 0.02);
    CHECK(points[0].label == "row 1");
    CHECK(points[1].err_is_guess);
    CHECK_FALSE(remarked(series, "barycentric"));

    const Series mjd = series_of(votable(fields, "<TR><TD>60343.75</TD><TD>15</TD><TD>0.1</TD></TR>",
                                         timesys("UTC", "MJD-origin", "TOPOCENTER")));
    CHECK(mjd.curves[0].points[0].jd_utc == 2460344.25);
    CHECK(remarked(mjd, "8.3 minutes"));
    CHECK_THAT(refusal_of(votable(fields, rows, timesys("TCB", "2455197.5"))), Catch::Contains("'TCB'"));
    CHECK_THAT(refusal_of(votable(fields, rows, timesys("TDB", "yesterday"))), Catch::Contains("yesterday"));
    // Without an origin, 1821 days are no date; 60343.75 could be either of two.
    CHECK_THAT(refusal_of(votable(fields, rows)), Catch::Contains("no date"));
    CHECK_THAT(refusal_of(votable(fields, "<TR><TD>60343.75</TD><TD>15</TD><TD>0.1</TD></TR>")),
               Catch::Contains("half a day apart"));
}

TEST_CASE("A VOTable's bands, limits and series, from columns and from parameters", "[series][votable]") {
    const Series several = series_of(votable(
        R"(<FIELD name="MJD" datatype="double" unit="d"/><FIELD name="filter" datatype="char" arraysize="*"/>
<FIELD name="mag" datatype="double" unit="mag"/><FIELD name="mag_err" datatype="double" unit="mag"/>
<FIELD name="upper_limit" datatype="boolean"/><FIELD name="observer" datatype="char" arraysize="*"/>)",
        "<TR><TD>60343.75</TD><TD>V</TD><TD>15</TD><TD>0.1</TD><TD>F</TD><TD>AAA</TD></TR>"
        "<TR><TD>60344.75</TD><TD>V</TD><TD>18</TD><TD/><TD>T</TD><TD>AAA</TD></TR>"
        "<TR><TD>60344.75</TD><TD>B</TD><TD>16</TD><TD>0.1</TD><TD>?</TD><TD>BBB</TD></TR>"));
    REQUIRE(several.curves.size() == 2);
    CHECK(several.curves[1].series.front() == "AAA");
    CHECK(several.curves[1].points[1].is_limit);
    CHECK(several.curves[0].series.front() == "BBB");
    const Series one = series_of(votable(
        R"(<PARAM name="band_used" ucd="instr.bandpass" datatype="char" arraysize="*" value="g"/>
<FIELD name="jd" datatype="double" unit="d"/><FIELD name="mag" datatype="double" unit="mmag"/>)",
        "<TR><TD>2460344.25</TD><TD>15250</TD></TR>"));
    CHECK(one.curves[0].band.name() == "g");
    CHECK(one.curves[0].points[0].magnitude_mag == Approx(15.25));
    CHECK_THAT(
        refusal_of(votable(
            R"(<FIELD name="jd" datatype="double"/><FIELD name="a" ucd="phot.mag;em.opt.B" datatype="double"/>
<FIELD name="b" ucd="phot.mag;em.opt.V" datatype="double"/>)",
            "<TR><TD>2460344.25</TD><TD>15</TD><TD>16</TD></TR>")),
        Catch::Contains("Several columns are magnitudes"));
    CHECK_THAT(refusal_of("<html><body/></html>"), Catch::Contains("no VOTable"));
    CHECK_THAT(refusal_of("<VOTABLE><RESOURCE>"), Catch::Contains("XML"));
    CHECK_THAT(refusal_of("SIMPLE  =                    T"), Catch::Contains("FITS"));
}

TEST_CASE("A VOTable's cells as bytes are the same points", "[series][votable]") {
    // One row of BINARY, big-endian, in base64: double 2460344.25 (41 42 C5 5C 20 00 00 00), float 15.25
    // (41 74 00 00), boolean 'T' (54).
    const Series series = series_of(
        R"(<?xml version="1.0"?><VOTABLE version="1.4"><RESOURCE><TABLE>
<FIELD name="jd" datatype="double"/><FIELD name="mag" ucd="phot.mag;em.opt.B" datatype="float"/>
<FIELD name="is_limit" datatype="boolean"/>
<DATA><BINARY><STREAM encoding="base64">QULFXCAAAABBdAAAVA==</STREAM></BINARY></DATA>
</TABLE></RESOURCE></VOTABLE>)");
    const auto& point = series.curves.at(0).points.at(0);
    CHECK(point.jd_utc == 2460344.25);
    CHECK(point.is_limit);
    CHECK(point.limit_mag == 15.25);
}

// One small file of each kind.
std::vector<std::string> one_of_each_kind() {
    const std::vector<night::NightMeasurement> nights{test::sample_night(),
                                                      test::as_limit(test::sample_night("2024-02-04"))};
    return {
        report_head() + line("2460344.50000", "15.000", "0.020", "V") +
            line("2460345.50000", "<18.5", "na", "V"),
        exported<NightTableWriter>(TableFormat::csv, nights),
        exported<NightTableWriter>(TableFormat::ecsv, nights),
        votable(
            R"(<FIELD name="jd" datatype="double" unit="d"/><FIELD name="mag" ucd="phot.mag;em.opt.V" datatype="double"/>)",
            "<TR><TD>2460344.25</TD><TD>15.25</TD></TR><TR><TD>2460345.25</TD><TD>15.5</TD></TR>",
            R"(<TIMESYS ID="frame" timescale="TDB" refposition="BARYCENTER" timeorigin="JD-origin"/>)"),
    };
}

// Either a Problem that says something, or points that a fit can use.
void check_is_sound(const std::string& text) {
    const auto series = parse_series(text, "damaged");
    if (!series) {
        CHECK_FALSE(series.error().what.empty());
        CHECK_THAT(series.error().where, Catch::StartsWith("damaged"));
        return;
    }
    for (const auto& curve : series->curves) {
        CHECK_FALSE(curve.points.empty());
        for (std::size_t i = 0; i < curve.points.size(); ++i)
            CHECK(lightcurve::check_point(curve, i));
    }
}

TEST_CASE("Files cut short anywhere are refused or read up to there", "[series][damage]") {
    for (const std::string& whole : one_of_each_kind()) {
        for (std::size_t length = 0; length < whole.size(); ++length) {
            INFO(whole.substr(0, length));
            check_is_sound(whole.substr(0, length));
        }
    }
}

TEST_CASE("Files with wrong bytes, lines lost and lines twice never bring an unusable point",
          "[series][damage]") {
    numerics::Random random(31);
    constexpr char wrong[] = "\0\xff\n,;<>\"#'&=-0 9.";
    const std::string bytes(wrong, sizeof wrong - 1);
    for (const std::string& whole : one_of_each_kind()) {
        for (int trial = 0; trial < 2000; ++trial) {
            std::string text = whole;
            for (int k = 0; k < 3; ++k) {
                const auto at = static_cast<std::size_t>(random.uniform() * static_cast<double>(text.size()));
                const auto which =
                    static_cast<std::size_t>(random.uniform() * static_cast<double>(bytes.size()));
                if (random.uniform() < 0.7) {
                    text[at] = bytes[which];
                } else {
                    const std::string part = text.substr(at, 40);
                    if (random.uniform() < 0.5)
                        text.erase(at, part.size());
                    else
                        text.insert(at, part);
                    if (text.empty()) text = ",";
                }
            }
            INFO("seed 31, trial " << trial << ":\n" << text);
            check_is_sound(text);
        }
    }
}

int run(const std::string& command) {
    return std::system(command.c_str());
}

TEST_CASE("Tables that astropy wrote, in every form it has, are the points put in", "[series]") {
    const std::string python = "/usr/bin/python3";
    if (run(python + " -c 'import astropy' 2>/dev/null") != 0) {
        WARN("SKIPPED: astropy is not installed, so nobody outside has written a series to read.");
        return;
    }
    const auto folder =
        std::filesystem::temp_directory_path() / ("emberline_series_" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder);
    std::ofstream(folder / "write.py") << R"(import sys
from astropy.table import Table
from astropy.time import Time
folder = sys.argv[1] + '/'
t = Table({'mjd': [60343.75, 60344.75, 60345.75], 'band': ['V', 'V', 'Rc'], 'mag': [15.25, 18.5, 15.125],
           'mag_err': [0.02, 0.0, 0.03], 'is_limit': [False, True, False]})
t['mjd'].unit = 'd'
t['mag'].unit = t['mag_err'].unit = 'mag'
for form in ['tabledata', 'binary', 'binary2']:
    t.write(folder + form, format='votable', tabledata_format=form)
t.write(folder + 'blanks', format='ascii.ecsv')
t.write(folder + 'commas', format='ascii.ecsv', delimiter=',')
t.write(folder + 'plain', format='ascii.csv')
t['time'] = Time(t['mjd'], format='mjd', scale='utc')
del t['mjd']
t.write(folder + 'times', format='ascii.ecsv')
t['time'] = Time(t['time'].isot, scale='utc')
t.write(folder + 'calendar', format='ascii.ecsv')
)";
    REQUIRE(run(python + " " + (folder / "write.py").string() + " " + folder.string() + " 2>/dev/null") == 0);
    for (const std::string name :
         {"tabledata", "binary", "binary2", "blanks", "commas", "plain", "times", "calendar"}) {
        const auto series = read_series((folder / name).string());
        INFO(name << ' ' << (series ? std::string() : one_line(series.error())));
        REQUIRE(series);
        REQUIRE(series->curves.size() == 2);
        const auto& v = series->curves[1];
        CHECK(v.series.front() == name);
        REQUIRE(v.points.size() == 2);
        CHECK(v.points[0].jd_utc == Approx(2460344.25).margin(1e-8).epsilon(0));
        CHECK(v.points[0].magnitude_mag == 15.25);
        CHECK(v.points[0].random_err_mag == 0.02);
        CHECK(v.points[1].is_limit);
        CHECK(v.points[1].limit_mag == 18.5);
        CHECK(series->curves[0].points[0].magnitude_mag == 15.125);
    }
    std::filesystem::remove_all(folder);
}

TEST_CASE("A hundred thousand lines of a report", "[series][network]") {
    std::string text = report_head();
    for (int i = 0; i < 100000; ++i)
        text += line(fmt::format("{:.5f}", 2460344.5 + 0.001 * i), "15.000", "0.020", "V");
    const auto start = std::chrono::steady_clock::now();
    const Series series = series_of(text);
    const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    // About a second of one core; a slip in its order would be minutes.
    CHECK(seconds < 20.0 * testing::watched_slowdown);
    CHECK(series.curves[0].points.size() == 100000);
}

}  // namespace
}  // namespace emberline::exchange
