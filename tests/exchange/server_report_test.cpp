// SPDX-License-Identifier: MIT
#include "exchange/server_report.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "exchange/server_report_samples.hpp"

namespace emberline::exchange {
namespace {

using Catch::Contains;
using namespace server_test;

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
