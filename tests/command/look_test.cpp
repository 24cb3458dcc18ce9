// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Catch::Contains;

TEST_CASE("look prints a star's numbers, rings and growth", "[command][look]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    const Outcome seen = campaign.run({"look", "V_001.fits", "--star", "first"});
    CHECK(seen.status == 0);
    CHECK_THAT(seen.out, Contains("frames/2024-03-14/V_001.fits, star first"));
    for (const char* word : {"position", "on the sky", "FWHM", "Moffat β", "sky", "peak", "S/N", "magnitude",
                             "catalogue", "residual", "radius, px", "ADU above sky", "share of light"})
        CHECK_THAT(seen.out, Contains(word));
    const auto json = campaign.run({"look", "V_001.fits", "--star", "first", "--json"}).json();
    // What is printed is what is told.
    CHECK_THAT(seen.out,
               Contains(std::to_string(static_cast<int>(std::lround(json["flux_e"].get<double>())))));
    const Outcome transient = campaign.run({"look", campaign.first_frame(), "--star", "transient", "--json"});
    CHECK(transient.status == 0);
    CHECK(transient.json()["role"] == "transient");
    const std::string at =
        std::to_string(json["x_px"].get<double>()) + "," + std::to_string(json["y_px"].get<double>());
    CHECK(campaign.run({"look", "V_001.fits", "--at", at, "--json"}).json() == json);
}

TEST_CASE("look says what it needs", "[command][look]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    for (const Words& wrong :
         {Words{"look"}, Words{"look", "V_001.fits", "--at", "12"},
          Words{"look", "V_001.fits", "--at", "a,b"}, Words{"look", "V_009.fits", "--star", "first"},
          Words{"look", "2024-03-14", "--star", "first"}, Words{"look", "V_001.fits", "--star", "999"},
          Words{"look", "V_001.fits", "--star", "first", "--at", "1,2"},
          Words{"look", "V_001.fits", "--star", "first", "--band", "B"},
          Words{"look", "V_001.fits", "--at", "9999,5"}}) {
        INFO(wrong.back());
        const Outcome outcome = campaign.run(wrong);
        CHECK(outcome.status == 2);
        CHECK_FALSE(outcome.err.empty());
    }
}
