// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

TEST_CASE("an unmeasured campaign still gets its calendar", "[forecast]") {
    const Rehearsed campaign;
    const Outcome told = campaign.run({"forecast", "--json", "--from", "2024-03-20", "--nights", "3"});
    CHECK(told.status == 3);
    const auto json = told.json();
    REQUIRE(json["nights"].size() == 3);
    CHECK(json["nights"][2]["night"] == "2024-03-22");
    CHECK(json["nights"][0]["sky"]["observable_h"].get<double>() > 1.0);
    CHECK(json["bands"].empty());
    CHECK(lines_of(contents(campaign.path("out/forecast.csv"))).size() == 4);
}

TEST_CASE("one night says why it cannot be forecast", "[forecast]") {
    const Rehearsed campaign;
    campaign.measure();
    const Outcome told = campaign.run({"forecast", "--from", "2024-03-20", "--nights", "2"});
    CHECK(told.status == 3);
    CHECK(told.out.find("V not forecast:") != std::string::npos);
    CHECK(told.out.find("2024-03-21") != std::string::npos);
}

TEST_CASE("a date that is none is bad usage", "[forecast]") {
    const Rehearsed campaign;
    CHECK(campaign.run({"forecast", "--from", "2024-02-30"}).status == 2);
    CHECK(campaign.run({"forecast", "--nights", "0"}).status == 2);
    CHECK(campaign.run({"forecast", "--band", "Q"}).status == 2);
}
