// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
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
