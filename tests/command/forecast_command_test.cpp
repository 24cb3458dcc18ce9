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

TEST_CASE("nights ahead go on as the past faded, with and without a site", "[forecast]") {
    const Rehearsed campaign({"--nights", "3"});
    campaign.measure();
    const Words words{"forecast", "--json", "--from", "2024-03-25", "--nights", "5", "--passes", "15.5"};
    const Outcome told = campaign.run(words);
    CHECK(told.status == 0);
    const auto json = told.json();
    const auto& v = json["bands"]["V"];
    REQUIRE(v["nights"].size() == 5);
    // The invented transient fades by 0.05 mag a day.
    const double first = v["nights"][0]["mag"], last = v["nights"][4]["mag"];
    CHECK(last - first == Approx(4 * 0.05).margin(0.1));
    CHECK(v["nights"][4]["low_mag"].get<double>() < last);
    CHECK(v["nights"][4]["high_mag"].get<double>() > last);
    CHECK(v["nights"][0]["exposure"]["within_night"] == true);
    CHECK(v["instrument"]["exposure_s"] == 60.0);
    REQUIRE(v["passes"].size() == 2);  // asked for, and the depth
    CHECK(v["passes"][0]["bjd_tdb"].get<double>() > v["last_bjd_tdb"].get<double>());
    CHECK(contents(campaign.path("out/forecast.svg")).find("</svg>") != std::string::npos);
    CHECK(lines_of(contents(campaign.path("out/forecast.csv"))).size() == 6);

    std::string settings = contents(campaign.path("campaign.toml"));
    const auto from = settings.find("[site]"), to = settings.find("\n[", from);
    write_contents(campaign.path("campaign.toml"), settings.erase(from, to + 1 - from));
    const Outcome blind = campaign.run(words);
    CHECK(blind.status == 0);
    CHECK(blind.json()["nights"][0]["sky"].is_null());
    CHECK(blind.json()["bands"]["V"]["nights"][0]["mag"].get<double>() == Approx(first).margin(0.05));
}
