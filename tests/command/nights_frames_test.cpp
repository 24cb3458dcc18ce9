// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Catch::Contains;

TEST_CASE("nights --frames tells each exposure of a night, the flip, and draws it", "[command]") {
    const Rehearsed campaign({"--nights", "2", "--frames", "6", "--no-trails", "--clear"});
    campaign.measure();
    const Outcome outcome = campaign.run({"nights", "--frames", "2024-03-14"});
    REQUIRE(outcome.status == 0);
    CHECK_THAT(outcome.out, Contains("the night of 2024-03-14") && Contains("Meridian flip at"));
    std::size_t exposures = 0, flipped = 0;
    for (const std::string& line : lines_of(outcome.out)) {
        exposures += line.find("% ") != std::string::npos && line.find("″") != std::string::npos ? 1 : 0;
        flipped += line.find("   flip ") != std::string::npos ? 1 : 0;
    }
    CHECK(exposures == 6);
    CHECK(flipped == 3);
    CHECK(std::filesystem::file_size(campaign.path("out/night_2024-03-14.svg")) > 1000);

    const auto json = campaign.run({"nights", "--frames", "2024-03-14", "--json"}).json();
    REQUIRE(json["frames"].size() == 6);
    CHECK(json["frames"][0]["flipped"] == false);
    CHECK(json["frames"][5]["flipped"] == true);
    REQUIRE(json["flips"].size() == 1);
    CHECK(json["flips"][0]["stands_out"] == false);
    // The newest night where none is named.
    CHECK(campaign.run({"nights", "--frames", "--json"}).json()["night"] == "2024-03-18");
}

TEST_CASE("a night that was not measured is named with the newest that was", "[command]") {
    const Rehearsed campaign;
    const Outcome before = campaign.run({"nights", "--frames"});
    CHECK(before.status == 3);
    campaign.measure();
    const Outcome outcome = campaign.run({"nights", "--frames", "2020-01-01"});
    CHECK(outcome.status == 2);
    CHECK_THAT(outcome.problem(), Contains("2020-01-01") && Contains("2024-03-14"));
}

TEST_CASE("nights --position tells where the transient stands, night by night", "[command]") {
    const Rehearsed campaign({"--nights", "2", "--frames", "3", "--no-trails", "--clear"});
    campaign.measure();
    const Outcome outcome = campaign.run({"nights", "--position"});
    REQUIRE(outcome.status == 0);
    CHECK_THAT(outcome.out, Contains("RA (ICRS)") && Contains("2024-03-14") && Contains("2024-03-18") &&
                                Contains("\nall ") && Contains("From the position in campaign.toml"));

    const auto json = campaign.run({"nights", "--position", "--json"}).json();
    REQUIRE(json["nights"].size() == 2);
    CHECK(json["nights"][1]["night"] == "2024-03-18");
    const auto all = json["all"];
    CHECK(all["nights"] == 2);
    CHECK(all["frames"].get<int>() + json["frames_without"].get<int>() == json["frames_used"].get<int>());
    for (const std::string axis : {"east", "north"}) {
        // The position in campaign.toml is the truth, rounded to 0.01 s and 0.1″.
        const double err = all[axis + "_err_arcsec"];
        CHECK(err > 0.001);
        CHECK(err < 0.2);
        CHECK(std::abs(all["from_campaign"][axis + "_arcsec"].get<double>()) < 0.08 + 5.0 * err);
    }

    const auto one = campaign.run({"nights", "--position", "2024-03-14", "--json"}).json();
    REQUIRE(one["nights"].size() == 1);
    CHECK(one["all"]["ra_deg"] == json["nights"][0]["ra_deg"]);
    CHECK(campaign.run({"nights", "--position", "2020-01-01"}).status == 2);
    CHECK(campaign.run({"nights", "--position", "--frames"}).status == 2);
}
