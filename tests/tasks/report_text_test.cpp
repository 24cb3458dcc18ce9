// SPDX-License-Identifier: MIT
#include "tasks/report_text.hpp"

#include <catch2/catch.hpp>

using namespace emberline;
using namespace emberline::tasks;

TEST_CASE("a finding stands at its line, one of the whole file at none", "[tasks][report]") {
    ReportOutcome outcome;
    outcome.text = "#TYPE=Extended\r\n#OBSCODE=XYZ\nDEMO SN 1,2460384.58,13.5\n";
    outcome.findings = {{3, "MERR", "It is missing.", true},
                        {3, "", "Too few fields.", true},
                        {2, "#OBSCODE", "Short.", false},
                        {0, "", "No end.", false},
                        {99, "", "Nowhere.", true}};
    const ReportText text = text_lines(outcome);
    REQUIRE(text.lines.size() == 3);
    CHECK(text.lines[0].text == "#TYPE=Extended");
    CHECK(text.lines[0].findings.empty());
    CHECK(text.lines[1].findings.size() == 1);
    CHECK(text.lines[2].number == 3);
    CHECK(text.lines[2].findings.size() == 2);
    CHECK(text.whole.size() == 2);
    CHECK(text_lines({}).lines.empty());
}

TEST_CASE("a finding of a field of JSON stands where that field is written", "[tasks][report]") {
    ReportOutcome outcome;
    outcome.text =
        "{\"at_report\": {\"0\": {\n"
        "  \"ra\": {\"value\": \"13:25\"},\n"
        "  \"dec\": {\"value\": \"37:16\"},\n"
        "  \"remarks\": \"none\",\n"
        "  \"photometry\": {\"photometry_group\": {\n"
        "    \"0\": {\"obsdate\": \"2024-03-14\", \"comments\": \"a\"},\n"
        "    \"1\": {\"obsdate\": \"2024-03-18\", \"comments\": \"b\"}}}}}}\n";
    outcome.findings = {{0, "dec.value", "Odd.", false},
                        {0, "remarks", "Long.", false},
                        {0, "photometry.1.obsdate", "Old.", true},
                        {0, "photometry.0.comments", "Short.", false},
                        {0, "host_name", "Missing.", false}};
    const ReportText text = text_lines(outcome);
    REQUIRE(text.lines.size() == 7);
    CHECK(text.lines[1].findings.empty());
    CHECK(text.lines[2].findings.size() == 1);
    CHECK(text.lines[3].findings.size() == 1);
    CHECK(text.lines[5].findings.at(0).what == "Short.");
    CHECK(text.lines[6].findings.at(0).what == "Old.");
    CHECK(text.lines[6].findings.at(0).line == 7);
    REQUIRE(text.whole.size() == 1);
    CHECK(text.whole[0].field == "host_name");
}

TEST_CASE("the command of a report says what was chosen", "[tasks][report]") {
    CHECK(command_line(ReportRequest{}) == "emberline report");
    const ReportRequest request{.format = "server-tsv",
                                .from_night = "2024-03-14",
                                .bands = {"B", "V"},
                                .hold = {"cloud"},
                                .no_limits = true,
                                .dry_run = true};
    CHECK(command_line(request) ==
          "emberline report --format server-tsv --from 2024-03-14 --band B --band V --hold cloud --no-limits "
          "--dry-run");
}
