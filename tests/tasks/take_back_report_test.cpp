// SPDX-License-Identifier: MIT
#include "tasks/take_back_report.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "quantities/delimited_table.hpp"
#include "tasks/documents.hpp"
#include "tasks/measured_campaign.hpp"
#include "tasks/report.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;

namespace {

rehearsal::RehearsalOptions two_nights() {
    rehearsal::RehearsalOptions options;
    options.host = false;
    options.nights = 2;
    options.frames = 2;
    options.comparison_stars = 5;
    return options;
}

tasks::ReportRequest up_to(const std::string& night) {
    tasks::ReportRequest request;
    request.to_night = night;
    return request;
}

std::string text_of(const std::string& file) {
    return read_text_file(file).value();
}

// What is measured; the line that names the day of the report may differ.
std::vector<std::string> data_lines(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
        if (!line.starts_with('#')) lines.push_back(line);
    }
    return lines;
}

}  // namespace

TEST_CASE("a report taken back is written again, and no file is lost on the way", "[report][take-back]") {
    const MeasuredCampaign campaign(two_nights());
    const tasks::Workspace workspace = campaign.workspace();
    const auto none = tasks::take_back_report(workspace, "network");
    REQUIRE_FALSE(none);
    CHECK(none.error().what == "There is no report to take back.");
    CHECK(none.error().kind == ProblemKind::request);
    CHECK_FALSE(tasks::newest_report(workspace, "network").value());

    const auto first = tasks::report(workspace, up_to("2024-03-14")).value();
    REQUIRE(first.lines == 1);
    const std::string first_text = text_of(first.file);
    const auto known = tasks::newest_report(workspace, "network").value();
    REQUIRE(known);
    CHECK(known->file == first.file);
    const auto second = tasks::report(workspace, {}).value();
    REQUIRE(second.lines == 1);
    REQUIRE_FALSE(second.kept_copy.empty());
    const std::string second_text = text_of(second.file);
    CHECK(data_lines(first_text) != data_lines(second_text));

    // The first cannot be reached past the second.
    const auto passed_over = tasks::take_back_report(workspace, "network", known->since);
    REQUIRE_FALSE(passed_over);
    CHECK_THAT(passed_over.error().what, Contains("is not the newest one"));

    const auto back = tasks::take_back_report(workspace, "network");
    REQUIRE(back);
    REQUIRE(back->report.lines.size() == 1);
    CHECK_THAT(back->report.lines.front().subject, Contains("night 2024-03-18 V"));
    CHECK_THAT(back->kept_as, Contains("out/report-taken-back-20"));
    CHECK(text_of(back->kept_as) == second_text);
    // The first has its name again, and is the newest report.
    CHECK(back->restored == first.file);
    CHECK(text_of(first.file) == first_text);
    CHECK(tasks::newest_report(workspace, "network").value()->since == known->since);

    const auto again = tasks::report(workspace, {}).value();
    CHECK(again.lines == 1);
    CHECK(again.reported_before == 1);
    CHECK(data_lines(text_of(again.file)) == data_lines(second_text));
    CHECK(text_of(again.kept_copy) == first_text);

    // Both, one after the other: then nothing was ever reported.
    REQUIRE(tasks::take_back_report(workspace, "network"));
    const auto last = tasks::take_back_report(workspace, "network");
    REQUIRE(last);
    CHECK(last->restored.empty());
    CHECK(text_of(last->kept_as) == first_text);
    CHECK_FALSE(tasks::take_back_report(workspace, "network"));
    const auto all = tasks::report(workspace, {}).value();
    CHECK(all.lines == 2);
    CHECK(all.revisions == 0);
    CHECK(all.reported_before == 0);
    const auto json = tasks::document(*last);
    CHECK(json["lines"].size() == 1);
    CHECK(json["kept_as"] == last->kept_as);
}

TEST_CASE("a report whose file is gone is taken back all the same, and that is said", "[report][take-back]") {
    const MeasuredCampaign campaign(two_nights());
    const tasks::Workspace workspace = campaign.workspace();
    const auto report = tasks::report(workspace, {}).value();
    std::filesystem::remove(report.file);
    const auto back = tasks::take_back_report(workspace, "network");
    REQUIRE(back);
    CHECK(back->kept_as.empty());
    CHECK_THAT(back->remark, Contains("is not there any more"));
    CHECK(tasks::report(workspace, {}).value().lines == report.lines);
}

TEST_CASE("formats are apart, and one that is none is named", "[report][take-back]") {
    const MeasuredCampaign campaign(two_nights());
    const tasks::Workspace workspace = campaign.workspace();
    REQUIRE(tasks::report(workspace, {}));
    CHECK_FALSE(tasks::take_back_report(workspace, "server-json"));
    const auto page = tasks::take_back_report(workspace, "page");
    REQUIRE_FALSE(page);
    CHECK(page.error().kind == ProblemKind::request);
    CHECK_THAT(page.error().what, Contains("'page'"));
    CHECK(tasks::take_back_report(workspace, "network"));
}
