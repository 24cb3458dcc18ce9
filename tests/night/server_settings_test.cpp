// SPDX-License-Identifier: MIT
#include "night/server_settings.hpp"

#include <catch2/catch.hpp>
#include <string>

#include "night/campaign.hpp"

using namespace emberline;

namespace {

Result<night::Campaign> with_section(const std::string& lines) {
    return night::parse_campaign(
        "[transient]\nname = \"X\"\nra = 10.0\ndec = 20.0\n[report]\nobstype = \"CCD\"\n" + lines, "");
}

}  // namespace

TEST_CASE("[report.server] is read, numbers written as numbers or as text", "[server_settings]") {
    const auto campaign = with_section(
        "[report.server]\n"
        "reporting_group = 48\n"
        "data_source_group = \"49\"\n"
        "instrument = 0\n"
        "at_type = 1\n"
        "filters = { V = 12, \"R\" = \"14\" }\n"
        "units = { Vega = 5, AB = \"1\" }\n"
        "reporter = \"A. Observer (Example Observatory)\"\n"
        "archive = \"DSS\"\n"
        "archive_remark = \"plate of 1955\"\n"
        "discovery = \"2024-02-03T21:04:05\"\n"
        "position_err_arcsec = 0.5\n"
        "host_name = \"NGC 1\"\n"
        "host_redshift = 0.0041\n"
        "internal_name = \"EX-1\"\n"
        "remarks = \"seen twice\"\n");
    REQUIRE(campaign);
    const night::ServerSettings& s = campaign->report.server;
    CHECK(s.reporting_group == 48);
    CHECK(s.data_source_group == 49);
    CHECK(s.instrument == 0);
    CHECK(s.at_type == 1);
    CHECK(s.filters == std::map<std::string, int>{{"V", 12}, {"Rc", 14}});
    CHECK(s.units == std::map<std::string, int>{{"Vega", 5}, {"AB", 1}});
    CHECK(s.reporter == "A. Observer (Example Observatory)");
    CHECK(s.archive == "DSS");
    CHECK(s.archive_remark == "plate of 1955");
    CHECK(s.discovery == "2024-02-03T21:04:05");
    CHECK(s.position_err_arcsec == 0.5);
    CHECK(s.host_name == "NGC 1");
    CHECK(s.host_redshift == 0.0041);
    CHECK(s.internal_name == "EX-1");
    CHECK(s.remarks == "seen twice");
}

TEST_CASE("Without [report.server] nothing is known of the server's numbers", "[server_settings]") {
    const auto campaign = with_section("");
    REQUIRE(campaign);
    CHECK(campaign->report.server == night::ServerSettings{});
}

TEST_CASE("A wrong entry of [report.server] is refused with its line", "[server_settings]") {
    struct Case {
        std::string line, what;
    };
    for (const Case& c :
         {Case{"reporting_group = \"ours\"", "'ours' is no identifier."},
          Case{"reporting_group = -1", "'-1' is no identifier."},
          Case{"instrument = 1.5", "'1.5' is no identifier."},
          Case{"instrument = true", "This must be text."}, Case{"at_type = 6", "6 is no type of transient."},
          Case{"filters = { Q = 1 }", "'Q' is not a band."},
          Case{"filters = { V = \"v\" }", "'v' is no identifier."},
          Case{"filters = 3", "This must be a table."},
          Case{"units = { vega = 1 }", "'vega' is not a setting here."},
          Case{"reporter = 3", "This must be text."},
          Case{"discovery = \"yesterday\"", "'yesterday' is not a date."},
          Case{"host_redshift = 99.0", "99 is out of range."},
          Case{"reportinggroup = 1", "'reportinggroup' is not a setting here."}}) {
        INFO(c.line);
        const auto campaign = with_section("[report.server]\n" + c.line + "\n");
        REQUIRE_FALSE(campaign);
        CHECK(campaign.error().what == c.what);
        CHECK(campaign.error().kind == ProblemKind::request);
        CHECK(campaign.error().where.find("report.server") != std::string::npos);
        CHECK(campaign.error().where.find("line 8") != std::string::npos);
    }
}
