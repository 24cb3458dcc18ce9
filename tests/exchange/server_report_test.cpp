// SPDX-License-Identifier: MIT
#include "exchange/server_report.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <iterator>
#include <random>
#include <sstream>

#include "exchange/measurement_samples.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

using Catch::Contains;

// A report as the server's own sample nests it, with the older keys: from memory (nesting and keys agree with
// the table of keys named in the header), values invented. Nothing of it was sent anywhere.
std::string sample_of_older_keys() {
    std::ifstream in(std::string(EMBERLINE_TEST_DATA) + "/exchange/server_report_older_keys.json");
    std::string text{std::istreambuf_iterator<char>(in), {}};
    REQUIRE_FALSE(text.empty());
    return text;
}

night::Campaign campaign() {
    auto c = test::sample_campaign();
    c.position = {Angle::degrees(201.338), Angle::degrees(37.27)};
    c.nucleus = SkyPosition{Angle::degrees(201.3331), Angle::degrees(37.2719)};
    c.observer_name = "A. Observer";
    auto& server = c.report.server;
    server.reporting_group = 101;
    server.data_source_group = 102;
    server.instrument = 103;
    server.at_type = 1;
    server.filters = {{"V", 201}, {"B", 202}};
    server.units = {{"Vega", 301}};
    server.reporter = "A. Observer (Example Observatory)";
    return c;
}

night::NightMeasurement night_at(const std::string& date, double jd, const std::string& band = "V") {
    auto m = test::sample_night(date, band);
    m.jd_utc = jd;
    return m;
}

// 2024-02-01T21:36:00 and so on: jd 2460342.4 is 2024-02-01.9.
std::vector<night::NightMeasurement> nights() {
    return {test::as_limit(night_at("2024-02-01", 2460342.4)),
            test::as_limit(night_at("2024-02-02", 2460343.4)), night_at("2024-02-03", 2460344.4),
            night_at("2024-02-03", 2460344.41, "B"), test::as_limit(night_at("2024-02-06", 2460347.4))};
}

night::TransientPlace seen_place() {
    night::TransientPlace place;
    place.place = {Angle::degrees(201.33801), Angle::degrees(37.27002)};
    place.east_err_arcsec = 0.12;
    place.north_err_arcsec = 0.09;
    return place;
}

bool has(const std::vector<Finding>& findings, const std::string& field, const std::string& saying,
         bool error = true) {
    return std::any_of(findings.begin(), findings.end(), [&](const Finding& f) {
        return f.field == field && f.error == error && f.what.find(saying) != std::string::npos;
    });
}

std::string words(const std::vector<Finding>& findings) {
    std::string all;
    for (const Finding& f : findings)
        all += std::to_string(f.line) + " " + f.field + ": " + f.what + "\n";
    return all;
}

std::string replaced(std::string text, const std::string& from, const std::string& to) {
    const auto at = text.find(from);
    REQUIRE(at != std::string::npos);
    return text.replace(at, from.size(), to);
}

TEST_CASE("The sample report of the older keys is read whole and found right", "[server_report]") {
    const auto checked = check_server_report(sample_of_older_keys());
    INFO(words(checked.findings));
    CHECK(checked.findings.empty());
    CHECK(checked.is_json);
    CHECK(checked.keys == ServerKeys::older);
    const ServerReport& r = checked.report;
    CHECK(r.position.ra.hours() == Approx(2.0 + 30.0 / 60 + 38.5 / 3600).epsilon(1e-12));
    CHECK(r.ra_err_arcsec == 0.5);
    CHECK(r.at_type == 1);
    CHECK(r.internal_name == "EX-1");
    CHECK(r.non_detection.archive == 2);
    CHECK_FALSE(r.non_detection.point);
    // 2022-10-30.0 is JD 2459882.5 (MJD 59882); 01:17:05 is 4625 s.
    CHECK(r.discovery_jd_utc == Approx(2459882.554).margin(1e-8).epsilon(0));
    REQUIRE(r.photometry.size() == 1);
    CHECK(r.photometry[0].jd_utc == Approx(2459882.5 + 4625.0 / 86400).margin(1e-8).epsilon(0));
    CHECK(r.photometry[0].flux_mag == 14.0);
    CHECK(r.photometry[0].exposure_s == 120.0);
    // Written again with the same keys, it says the same.
    const auto again = write_server_json(r, ServerKeys::older);
    REQUIRE(again);
    CHECK(check_server_report(*again).report == r);
    CHECK_THAT(*again, Contains("\"discovery_data_source_id\": \"0\"") && Contains("\"photometry_group\""));
}

TEST_CASE("Nights become a report: discovery, last non-detection, offset from the nucleus",
          "[server_report]") {
    const auto lines = server_report(nights(), campaign(), seen_place());
    REQUIRE(lines);
    const ServerReport& r = lines->report;
    CHECK(r.photometry.size() == 5);
    CHECK(lines->subjects.size() == 5);
    CHECK(lines->subjects[2] == subject_of(nights()[2]));
    CHECK(r.discovery_jd_utc == 2460344.4);
    REQUIRE(r.non_detection.point);
    CHECK(r.non_detection.point->jd_utc == 2460343.4);  // the newest before, not the one after
    CHECK(r.non_detection.point->limit_mag == 19.5);
    CHECK(r.non_detection.point->filter == 201);
    CHECK_FALSE(r.non_detection.archive);
    CHECK(r.ra_err_arcsec == 0.12);
    REQUIRE(r.offset);
    // By hand: (201.33801 − 201.3331)° · 3600 · cos 37.2719° = 14.066″; (37.27002 − 37.2719)° · 3600 =
    // −6.768″, and +0.0004″ from the tangent plane.
    CHECK(r.offset->east_arcsec == Approx(14.066).margin(0.002));
    CHECK(r.offset->north_arcsec == Approx(-6.768).margin(0.002));
    CHECK_THAT(r.remarks, Contains("14.07 arcsec east, 6.77 arcsec south"));
    CHECK(r.photometry[0].limit_mag == 19.5);
    CHECK_FALSE(r.photometry[0].flux_mag);
    CHECK(r.photometry[2].flux_err_mag == test::sample_night().total_err_mag());
    CHECK(r.photometry[3].filter == 202);
    CHECK_THAT(r.photometry[2].comments, Contains("not transformed") && Contains("12 frames combined"));

    for (const auto& text : {write_server_json(r), write_server_tsv(r)}) {
        REQUIRE(text);
        const auto checked = check_server_report(*text);
        INFO(*text << words(checked.findings));
        CHECK(checked.findings.empty());
        CHECK(checked.keys == ServerKeys::of_2025);
    }
    // Of chosen nights alone; the others still tell what was seen before.
    const auto chosen = server_report(nights(), campaign(), std::nullopt,
                                      [](const night::NightMeasurement& m) { return m.band.name() == "B"; });
    REQUIRE(chosen);
    CHECK(chosen->report.photometry.size() == 1);
    CHECK(chosen->report.discovery_jd_utc == 2460344.4);
    CHECK(chosen->report.non_detection.point->jd_utc == 2460343.4);
    CHECK(chosen->report.ra_err_arcsec == 1.0);
    REQUIRE_FALSE(chosen->remarks.empty());
    CHECK_THAT(chosen->remarks[0], Contains("1 arcsec"));
}

TEST_CASE("A discovery by somebody else leaves no later limit as the last non-detection", "[server_report]") {
    auto c = campaign();
    c.discovered = "2024-02-02";  // the limit of that evening came later
    CHECK_FALSE(server_report({{nights()[1], nights()[2]}}, c, seen_place()));
    const auto lines = server_report(nights(), c, seen_place());
    REQUIRE(lines);
    CHECK(lines->report.discovery_jd_utc == 2460342.5);
    CHECK(lines->report.non_detection.point->jd_utc == 2460342.4);
    CHECK_THAT(lines->report.remarks, Contains("dated to the day alone"));
    CHECK(lines->remarks.size() == 1);
    c.report.server.discovery = "2024-02-03T03:00:00";
    const auto timed = server_report(nights(), c, seen_place());
    REQUIRE(timed);
    CHECK(timed->report.discovery_jd_utc == 2460343.625);
    CHECK(timed->report.non_detection.point->jd_utc == 2460343.4);
    // The day of our own first detection: its time is the discovery's.
    c.report.server.discovery = "2024-02-03";
    CHECK(server_report(nights(), c, seen_place())->report.discovery_jd_utc == 2460344.4);
}

TEST_CASE("A report that lacks one of the server's numbers is refused with what to add", "[server_report]") {
    const auto refused = [](const night::Campaign& c, const std::string& key, const std::string& mend,
                            std::vector<night::NightMeasurement> rows = nights()) {
        const auto lines = server_report(rows, c, seen_place());
        REQUIRE_FALSE(lines);
        INFO(one_line(lines.error()));
        CHECK(lines.error().kind == ProblemKind::request);
        CHECK_THAT(lines.error().where, Contains(key));
        CHECK_THAT(lines.error().mend, Contains(mend));
    };
    auto c = campaign();
    c.report.server.reporting_group.reset();
    refused(c, "reporting_group", "reporting_group = …");
    c = campaign();
    c.report.server.data_source_group.reset();
    refused(c, "data_source_group", "data_source_group = …");
    c = campaign();
    c.report.server.at_type.reset();
    refused(c, "at_type", "at_type = …");
    c = campaign();
    c.report.server.instrument.reset();
    refused(c, "instrument", "instrument = …");
    c = campaign();
    c.report.server.filters.erase("B");
    refused(c, "filters", "filters = { B = … }");
    c = campaign();
    c.report.server.units.clear();
    refused(c, "units", "units = { Vega = … }");
    c = campaign();
    c.report.server.reporter.clear();
    c.observer_name.clear();
    refused(c, "reporter", "reporter = ");
    refused(campaign(), "archive", "DSS", {nights()[2]});
    refused(campaign(), "", "Measure one", {});
    refused(campaign(), "discovery", "2024-02-03T21:04:05", {nights()[0]});
    // What public sample code tells needs no setting: g is 21, AB magnitudes are 1.
    c = campaign();
    c.report.server.filters.clear();
    c.report.server.units.clear();
    c.report.server.archive = "Plates of 1955";
    const auto lines = server_report({{night_at("2024-02-03", 2460344.4, "g")}}, c, seen_place());
    REQUIRE(lines);
    CHECK(lines->report.photometry[0].filter == 21);
    CHECK(lines->report.photometry[0].units == 1);
    CHECK(lines->report.non_detection.archive == 0);
    CHECK(lines->report.non_detection.archive_remark == "Plates of 1955");
}

TEST_CASE("What cannot be a point is skipped with its reason", "[server_report]") {
    auto rows = nights();
    rows[2].magnitude_mag = std::nan("");
    rows[0].limit_mag.reset();
    const auto lines = server_report(rows, campaign(), seen_place());
    REQUIRE(lines);
    REQUIRE(lines->skipped.size() == 2);
    CHECK(lines->skipped[0].reason == "It is a limit without a value.");
    CHECK(lines->skipped[1].reason == "It has no magnitude.");
    CHECK(lines->report.discovery_jd_utc == 2460344.41);
}

TEST_CASE("Dates are rounded to the next day where they must be", "[server_report]") {
    auto r = server_report(nights(), campaign(), seen_place())->report;
    r.discovery_jd_utc = 2460344.499999;  // 2024-02-03T23:59:59.9
    r.photometry[2].jd_utc = 2460344.499999;
    const auto text = write_server_json(r);
    REQUIRE(text);
    CHECK_THAT(*text, Contains("\"discovery_datetime\": \"2024-02-04.00000\""));
    CHECK_THAT(*text, Contains("\"obsdate\": \"2024-02-04 00:00:00\""));
}

// As the formats round.
double to(double value, double step) {
    return std::round(value / step) * step;
}
bool near(const std::optional<double>& a, const std::optional<double>& b, double step) {
    return a.has_value() == b.has_value() && (!a || std::abs(*a - *b) <= 0.501 * step);
}
bool same_point(const ServerPoint& a, const ServerPoint& b) {
    return std::abs(a.jd_utc - b.jd_utc) < 0.502 / 86400.0 && near(a.flux_mag, b.flux_mag, 1e-3) &&
           near(a.flux_err_mag, b.flux_err_mag, 1e-3) && near(a.limit_mag, b.limit_mag, 1e-3) &&
           near(a.exposure_s, b.exposure_s, 1e-3) && a.units == b.units && a.filter == b.filter &&
           a.instrument == b.instrument && a.observer == b.observer && a.comments == b.comments;
}
bool same_report(const ServerReport& a, const ServerReport& b, bool with_offset) {
    // 0.0005 s of ra is 0.0075″ at most, 0.005″ of dec.
    bool same = separation(a.position, b.position).arcseconds() < 0.0095 &&
                near(a.ra_err_arcsec, b.ra_err_arcsec, 1e-3) && a.reporting_group == b.reporting_group &&
                a.data_source_group == b.data_source_group && a.reporter == b.reporter &&
                std::abs(a.discovery_jd_utc - b.discovery_jd_utc) < 0.502e-5 && a.at_type == b.at_type &&
                a.host_name == b.host_name && near(a.host_redshift, b.host_redshift, 1e-6) &&
                a.internal_name == b.internal_name && a.remarks == b.remarks &&
                a.non_detection.archive == b.non_detection.archive &&
                a.non_detection.archive_remark == b.non_detection.archive_remark &&
                a.non_detection.point.has_value() == b.non_detection.point.has_value() &&
                a.photometry.size() == b.photometry.size();
    if (same && a.non_detection.point) same = same_point(*a.non_detection.point, *b.non_detection.point);
    if (same && with_offset) {
        same = a.offset.has_value() == b.offset.has_value() &&
               (!a.offset || (near(a.offset->east_arcsec, b.offset->east_arcsec, 0.01) &&
                              near(a.offset->north_arcsec, b.offset->north_arcsec, 0.01)));
    }
    for (std::size_t i = 0; same && i < a.photometry.size(); ++i)
        same = same_point(a.photometry[i], b.photometry[i]);
    return same;
}

ServerPoint random_point(std::mt19937_64& random, bool limit) {
    std::uniform_real_distribution<double> real(0.0, 1.0);
    ServerPoint p;
    p.jd_utc = 2450000.5 + 20000.0 * real(random);
    (limit ? p.limit_mag : p.flux_mag) = -5.0 + 30.0 * real(random);
    if (!limit && real(random) < 0.8) p.flux_err_mag = real(random);
    p.units = static_cast<int>(random() % 1000);
    p.filter = static_cast<int>(random() % 1000);
    p.instrument = static_cast<int>(random() % 1000);
    if (real(random) < 0.8) p.exposure_s = 1e4 * real(random);
    p.observer = "A. \"Nobody\" \\ 'x'";
    p.comments = real(random) < 0.5 ? "" : "{}[],: \\n null";
    return p;
}

TEST_CASE("A thousand random light curves come back from JSON and from TSV to the formats' digits",
          "[server_report]") {
    constexpr std::uint64_t seed = 20240203;
    CAPTURE(seed);
    std::mt19937_64 random(seed);
    std::uniform_real_distribution<double> real(0.0, 1.0);
    int json = 0, tsv = 0;
    for (int i = 0; i < 1000; ++i) {
        ServerReport r;
        r.position = {Angle::degrees(360.0 * real(random)), Angle::degrees(180.0 * real(random) - 90.0)};
        if (real(random) < 0.8) r.ra_err_arcsec = r.dec_err_arcsec = real(random);
        r.reporting_group = static_cast<int>(random() % 500);
        r.data_source_group = static_cast<int>(random() % 500);
        r.reporter = "A. Observer; B. Other (Somewhere, \"nowhere\")";
        r.discovery_jd_utc = 2480000.5 + 1000.0 * real(random);
        r.at_type = static_cast<int>(random() % 6);
        if (real(random) < 0.5) r.host_redshift = 0.1 * real(random);
        r.internal_name = "X-" + std::to_string(i);
        if (real(random) < 0.5)
            r.offset = ServerOffset{to(real(random) - 0.5, 1e-9), -10.0 * real(random), {}, {}};
        if (real(random) < 0.5) {
            r.non_detection.point = random_point(random, true);
        } else {
            r.non_detection.archive = static_cast<int>(random() % 3);
            r.non_detection.archive_remark = "plates";
        }
        for (auto n = 1 + random() % 20; r.photometry.size() < n;)
            r.photometry.push_back(random_point(random, real(random) < 0.2));
        const auto keys = real(random) < 0.5 ? ServerKeys::older : ServerKeys::of_2025;
        const auto as_json = write_server_json(r, keys);
        const auto as_tsv = write_server_tsv(r, keys);
        REQUIRE(as_json);
        REQUIRE(as_tsv);
        const auto from_json = check_server_report(*as_json), from_tsv = check_server_report(*as_tsv);
        json +=
            from_json.findings.empty() && from_json.keys == keys && same_report(r, from_json.report, false);
        tsv += from_tsv.findings.empty() && from_tsv.keys == keys && same_report(r, from_tsv.report, true);
    }
    CHECK(json == 1000);
    CHECK(tsv == 1000);
}

TEST_CASE("The writers refuse what no reader would take, with the field", "[server_report]") {
    const auto good = server_report(nights(), campaign(), seen_place())->report;
    const auto refused = [](const ServerReport& r, const std::string& field) {
        for (const auto& text : {write_server_json(r), write_server_tsv(r)}) {
            REQUIRE_FALSE(text);
            CHECK_THAT(text.error().where, Contains(field));
            CHECK_FALSE(text.error().mend.empty());
        }
    };
    auto r = good;
    r.photometry[4].limit_mag = std::nan("");
    refused(r, "photometry.4.limiting_flux");
    r = good;
    r.photometry[1].filter.reset();
    refused(r, "photometry.1.filterid");
    r = good;
    r.reporter = "a\nb";
    refused(r, "reporter");
    r = good;
    r.remarks = std::string(20'000, 'x');
    refused(r, "remarks");
    r = good;
    r.photometry.clear();
    refused(r, "photometry");
    r = good;
    r.non_detection = {};
    refused(r, "non_detection");
    // Letters beyond ASCII: JSON is UTF-8, columns between tabs say nothing of theirs.
    r = good;
    r.reporter = "Ödön";
    const auto json = write_server_json(r);
    REQUIRE(json);
    CHECK(check_server_report(*json).report.reporter == "Ödön");
    CHECK_FALSE(write_server_tsv(r));
}

TEST_CASE("Every departure from the report is named, in JSON", "[server_report]") {
    const std::string good = sample_of_older_keys();
    const auto finds = [&](const std::string& from, const std::string& to_text, const std::string& field,
                           const std::string& saying, bool error = true) {
        const auto checked = check_server_report(replaced(good, from, to_text));
        INFO(from << " -> " << to_text << "\n" << words(checked.findings));
        CHECK(has(checked.findings, field, saying, error));
    };
    finds("\"02:30:38.5\"", "\"25:30:38.5\"", "ra.value", "");
    finds("\"02:30:38.5\"", "\"\"", "ra.value", "missing");
    finds("\"+42:13:57\"", "\"+92:13:57\"", "dec.value", "");
    finds("\"arcsec\"", "\"deg\"", "ra.units", "arcsec");
    finds("\"error\": \"0.5\"", "\"error\": \"-1\"", "ra.error", "out of range");
    finds("\"reporting_group_id\": \"0\"", "\"reporting_group_id\": \"ours\"", "reporting_group_id",
          "no identifier");
    finds("\"reporting_group_id\": \"0\",", "", "reporting_group_id", "missing");
    finds("\"reporter\": \"A. Observer (Example Observatory)\"", "\"reporter\": null", "reporter", "missing");
    finds("2022-10-30.054", "2022-13-30.054", "discovery_datetime", "no date");
    finds("2022-10-30.054", "30.10.2022", "discovery_datetime", "no date");
    finds("\"at_type\": \"1\"", "\"at_type\": \"9\"", "at_type", "0 to 5");
    finds("\"at_type\": \"1\"", "\"at_type\": true", "at_report.0.at_type", "truth value");
    finds("\"at_type\": \"1\"", "\"at_type\": [1]", "at_report.0.at_type", "list");
    finds("\"host_name\"", "\"hostname\"", "hostname", "no such key", false);
    finds("\"remarks\": \"\"", "\"remarks\": \"\", \"remarks\": \"x\"", "remarks", "twice");
    finds("\"archiveid\": \"2\"", "\"archiveid\": \"\"", "non_detection.obsdate", "Neither");
    finds("\"archiveid\": \"2\"", "\"archiveid\": \"7\"", "non_detection.archiveid", "archives");
    finds("\"archiveid\": \"2\", \"archival_remarks\": \"DSS\"", "\"archiveid\": \"0\"",
          "non_detection.archival_remarks", "missing");
    finds("\"flux\": \"14.0\"", "\"flux\": \"99.99\"", "photometry.0.flux", "no magnitude");
    finds("\"flux\": \"14.0\"", "\"flux\": \"bright\"", "photometry.0.flux", "no number");
    finds("\"flux\": \"14.0\"", "\"flux\": \"\"", "photometry.0.flux", "Neither");
    finds("\"obsdate\": \"2022-10-30 01:17:05\"", "\"obsdate\": \"\"", "photometry.0.obsdate", "missing");
    finds("\"filter_value\": \"1\"", "\"filter_value\": \"V\"", "photometry.0.filter_value", "no identifier");
    finds("\"filter_value\": \"1\"", "\"filterid\": \"1\"", "filterid", "Keys of 2025", false);
    finds("{\"0\": {\"obsdate\"", "{\"1\": {\"obsdate\"", "photometry.1", "numbered from 0");
    finds("\"limiting_flux\": \"\", \"flux_units\": \"1\", \"filter_value\": \"\"",
          "\"limiting_flux\": \"18.0\", \"flux_units\": \"1\", \"filter_value\": \"\"",
          "non_detection.obsdate", "missing");
    finds("{\"at_report\"", "{\"report\"", "at_report", "no report");
    finds("{\"at_report\": {\"0\"", "\xEF\xBB\xBF{\"at_report\": {\"0\"", "", "byte-order mark", false);
    finds("A. Observer (", "A. \xFF Observer (", "", "no JSON");
    finds("A. Observer (", "A. \\u0007 Observer (", "reporter", "control characters");
    finds("\"EX-1\"", "\"" + std::string(10'001, 'x') + "\"", "internal_name", "10000 are the most");
    // Numbers as numbers, CR LF and a second report do no harm.
    auto other = replaced(good, "\"flux\": \"14.0\"", "\"flux\": 14.0");
    other = replaced(other, "\"at_type\": \"1\"", "\"at_type\": 1");
    other = replaced(other, "\n", "\r\n");
    const auto checked = check_server_report(other);
    CHECK(checked.findings.empty());
    CHECK(checked.report.photometry.at(0).flux_mag == 14.0);
    const auto second =
        check_server_report(replaced(good, "}}}\n}}}", "}}}\n}, \"1\": {\"reporter\": \"x\"}}}"));
    CHECK(second.valid());
    CHECK(has(second.findings, "at_report.1", "first report", false));
    const auto twice =
        check_server_report(replaced(good, "}}}\n}}}", "}}}\n}, \"0\": {\"reporter\": \"x\"}}}"));
    CHECK(has(twice.findings, "at_report.0", "twice"));
}

TEST_CASE("A file cut anywhere, or nested a million deep, is found wrong and does no harm",
          "[server_report]") {
    const auto r = server_report(nights(), campaign(), seen_place())->report;
    for (const std::string& text : {*write_server_json(r), *write_server_tsv(r)}) {
        for (std::size_t length = 0; length + 1 < text.size(); length += 7) {
            if (check_server_report(text.substr(0, length)).valid()) FAIL(length);
        }
    }
    const std::size_t million = 1'000'000;
    std::string objects;
    for (std::size_t i = 0; i < million; ++i)
        objects += "{\"a\":";
    for (const std::string& deep : {std::string(million, '['), objects, std::string(million, '{')})
        CHECK_FALSE(check_server_report(deep).valid());
    CHECK(has(check_server_report(objects).findings, "", "12 deep"));
    for (const char* text :
         {"", " \n", "{}", "[]", "{\"at_report\": {}}", "{\"at_report\": 3}", "a", "a\tb\n",
          "{\"at_report\": {\"0\": []}}", "{\"at_report\": {\"0\": {\"photometry\": 3}}}",
          "{\"at_report\": {\"0\": {\"photometry\": {\"photometry_group\": [1]}}}}"})
        CHECK_FALSE(check_server_report(text).valid());
}

TEST_CASE("Every departure from the report is named with its line, between tabs", "[server_report]") {
    const auto r = server_report(nights(), campaign(), seen_place())->report;
    const std::string good = *write_server_tsv(r);
    CHECK(std::count(good.begin(), good.end(), '\n') == 6);
    CHECK(check_server_report(good).report.offset->east_arcsec == Approx(14.07).margin(1e-9));
    const auto finds = [&](const std::string& text, std::size_t line, const std::string& field,
                           const std::string& saying, bool error = true) {
        const auto checked = check_server_report(text);
        INFO(words(checked.findings));
        CHECK(has(checked.findings, field, saying, error));
        CHECK(std::any_of(checked.findings.begin(), checked.findings.end(),
                          [&](const Finding& f) { return f.line == line && f.field == field; }));
    };
    finds(replaced(good, "photometry.flux\t", "photometry.flow\t"), 1, "photometry.flow", "No such column",
          false);
    finds(replaced(good, "photometry.flux\t", "photometry.flow\t"), 4, "photometry.flux", "Neither");
    finds(replaced(good, "host_name\t", "reporter\t"), 1, "reporter", "Two columns");
    finds(replaced(good, "\t19.500\t", "\t19,500\t"), 2, "non_detection.limiting_flux", "no number");
    finds(replaced(good, "2024-02-02 21:36:00\t\t", "2024-02-02 21:36:00\t"), 3, "", "fields where");
    finds(replaced(good, "2024-02-06 21:36:00", "2024-02-31 21:36:00"), 6, "photometry.obsdate", "no date");
    finds(good + "\n", 7, "", "empty");
    finds(good.substr(0, good.size() - 1), 6, "", "cut");
    finds(replaced(good, "(Example", "(Ex\xC3\xA4mple"), 2, "", "beyond ASCII");
    finds(replaced(good, "\n", "\r\n"), 1, "", "CR LF", false);
    CHECK(check_server_report(replaced(good, "\n", "\r\n")).valid());
    std::string second = good;
    second += good.substr(good.find('\n') + 1);
    CHECK(check_server_report(second).valid());  // the same report again on a later line
    finds(second + replaced(good.substr(good.find('\n') + 1), "(Example", "(Other"), 12, "reporter",
          "second report");
    // Commas for tabs: one column of an unknown name.
    std::string commas = good;
    std::replace(commas.begin(), commas.end(), '\t', ',');
    CHECK_FALSE(check_server_report(commas).valid());
}

TEST_CASE("Ten thousand points go out and come back", "[server_report]") {
    auto r = server_report(nights(), campaign(), seen_place())->report;
    const ServerPoint point = r.photometry[2];
    r.photometry.assign(10'000, point);
    for (const auto& text : {write_server_json(r), write_server_tsv(r)}) {
        REQUIRE(text);
        const auto checked = check_server_report(*text);
        CHECK(checked.report.photometry.size() == 10'000);
        CHECK(checked.findings.empty());
    }
}

}  // namespace
}  // namespace emberline::exchange
