// SPDX-License-Identifier: MIT
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <map>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Catch::Contains;

namespace {

// label -> trouble, as truth_troubles.csv has it; the first star of the table bears another name by now.
std::map<std::string, std::string> troubles_of(const Rehearsed& campaign) {
    std::map<std::string, std::string> troubles;
    const auto lines = lines_of(contents(campaign.path("truth_troubles.csv")));
    for (std::size_t i = 1; i < lines.size(); ++i) {
        const auto comma = lines[i].find(',');
        const std::string label = lines[i].substr(0, comma);
        const bool renamed =
            contents(campaign.path("comparison.csv")).find("\n" + label + ",") == std::string::npos;
        troubles[renamed ? "first" : label] =
            lines[i].substr(comma + 1, lines[i].find(',', comma + 1) - comma - 1);
    }
    return troubles;
}

}  // namespace

TEST_CASE("sequence audit names the bad stars, what removing each does, and draws them", "[command]") {
    const Rehearsed campaign({"--nights", "5", "--frames", "4", "--stars", "11", "--variable-star", "0.2",
                              "--blended-star", "2.5", "--wrong-star", "0.3", "--no-host", "--clear",
                              "--seed", "5"});
    campaign.measure();
    const std::map<std::string, std::string> verdicts = {
        {"varies", "varies"}, {"blended", "blended"}, {"wrong", "catalogue value"}};
    const auto troubles = troubles_of(campaign);
    REQUIRE(troubles.size() == 3);

    const auto json = campaign.run({"sequence", "audit", "--json"}).json();
    REQUIRE(json["stars"].size() == 12);  // the check star too
    CHECK(json["nights"] == 5);
    for (std::size_t i = 0; i < json["stars"].size(); ++i) {
        const auto& star = json["stars"][i];
        const std::string label = star["star"];
        INFO(label << ": " << star["why"]);
        if (const auto bad = troubles.find(label); bad != troubles.end()) {
            CHECK(i < 3);
            CHECK(star["verdict"] == verdicts.at(bad->second));
            CHECK(star["removal"]["nights"].size() == 5);
            CHECK(star["removal"]["decline"]["change_mag_per_day"]["err"] > 0.0);
        } else {
            CHECK((star["verdict"] == "fine" || star["verdict"] == "cannot tell"));
            CHECK(star["removal"].is_null());
        }
    }

    const Outcome told = campaign.run({"sequence", "audit", "--picture"});
    REQUIRE(told.status == 0);
    for (const auto& [label, trouble] : troubles)
        CHECK_THAT(told.out, Contains(label + ", V: " + verdicts.at(trouble)));
    CHECK_THAT(told.out, Contains("emberline exclude") && Contains("of its error") &&
                             Contains("Decline by a straight line"));
    const std::string picture = contents(campaign.path("out/audit.svg"));
    CHECK_THAT(picture, Contains("the comparison stars on trial") && Contains("catalogue value") &&
                            Contains("3 accused"));

    // Once set aside it is judged still, and is no witness.
    const std::string variable = std::find_if(troubles.begin(), troubles.end(), [](const auto& t) {
                                     return t.second == "varies";
                                 })->first;
    REQUIRE(campaign.run({"exclude", variable, "--reason", "it varies"}).status == 0);
    const Outcome again = campaign.run({"sequence", "audit", "--band", "V"});
    CHECK(again.status == 0);
    CHECK_THAT(again.out, Contains(variable + " (set aside), V: varies") && Contains("Leave it set aside"));
}

TEST_CASE("sequence audit has its statuses: nothing measured, a band that was not", "[command]") {
    const Rehearsed campaign;
    CHECK(campaign.run({"sequence", "audit"}).status == 3);
    campaign.measure();
    CHECK(campaign.run({"sequence", "audit", "--band", "R"}).status == 2);
    CHECK(campaign.run({"sequence", "audit", "--band", "no band"}).status == 2);
    // Two frames tell nothing, and that is no failure.
    const Outcome outcome = campaign.run({"sequence", "audit"});
    CHECK(outcome.status == 0);
    CHECK_THAT(outcome.out, Contains("No star is accused.") && Contains("too few to tell"));
}
