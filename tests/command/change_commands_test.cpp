// SPDX-License-Identifier: MIT
// exclude and include as dry runs, and a report taken back: through the program.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <filesystem>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Catch::Contains;

TEST_CASE("a dry run shows the nights as they would be, and keeps nothing", "[command][exclude]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    const std::string before = campaign.run({"nights", "--json"}).out;
    const Outcome dry = campaign.run({"exclude", "first", "--dry-run", "--json"});
    INFO(dry.out << dry.err);
    CHECK(dry.status == 0);
    CHECK(campaign.run({"nights", "--json"}).out == before);
    const Outcome words = campaign.run({"exclude", "first", "--dry-run"});
    CHECK(words.status == 0);
    CHECK_THAT(words.out, Contains("Star first would be set aside.") && Contains("As it would be") &&
                              Contains("2024-03-14") && Contains("Nothing was changed."));
    // What it showed comes to pass.
    CHECK(campaign.run({"exclude", "first", "--reason", "it varies"}).status == 0);
    const auto nights = campaign.run({"nights", "--json"}).json();
    const auto tried = dry.json();
    REQUIRE(tried.at("nights").size() == nights.at("nights").size());
    for (std::size_t i = 0; i < tried.at("nights").size(); ++i) {
        const double would_be = tried["nights"][i]["after_mag"];
        CHECK(would_be == Approx(nights["nights"][i]["mag"].get<double>()).margin(1e-9));
        CHECK_THAT(words.out, Contains(fmt::format("{:.3f} ±", would_be)));
    }
    const Outcome already = campaign.run({"exclude", "first", "--dry-run"});
    CHECK(already.status == 0);
    CHECK_THAT(already.out, Contains("is set aside already (it varies)"));
    const Outcome back = campaign.run({"include", "first", "--dry-run", "--json"});
    CHECK(back.json().at("nights")[0].at("after_mag") == tried["nights"][0]["before_mag"]);
    const Outcome same = campaign.run({"exclude", "first", "--reason", "it varies"});
    CHECK_THAT(same.out, Contains("is set aside already, for that reason; nothing changed."));
    const Outcome unknown = campaign.run({"exclude", "999", "--dry-run"});
    CHECK(unknown.status == 2);
    CHECK_THAT(unknown.problem(), Contains("No night, star or frame has that name."));
}

TEST_CASE("a report that was not sent is taken back, kept under another name, and written again",
          "[command][report]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    const Outcome none = campaign.run({"report", "--take-back"});
    CHECK(none.status == 2);
    CHECK_THAT(none.problem(), Contains("There is no report to take back."));
    CHECK(campaign.run({"report"}).status == 0);
    const std::string report = campaign.path("out/report.txt");
    const std::string text = contents(report);
    const Outcome back = campaign.run({"report", "--take-back"});
    INFO(back.out << back.err);
    CHECK(back.status == 0);
    CHECK_THAT(back.out,
               Contains("2 lines of") && Contains("night 2024-03-14 V") && Contains("do not send it"));
    CHECK_FALSE(std::filesystem::exists(report));
    const Outcome again = campaign.run({"report", "--json"});
    CHECK(again.json().at("lines") == 2);
    CHECK(again.json().at("revisions") == 0);
    CHECK(contents(report) == text);
    const Outcome told = campaign.run({"report", "--take-back", "--json"});
    CHECK(told.json().at("lines").size() == 2);
    CHECK(contents(told.json().at("kept_as").get<std::string>()) == text);
    const Outcome misuse = campaign.run({"report", "--take-back", "--dry-run"});
    CHECK(misuse.status == 2);
}
