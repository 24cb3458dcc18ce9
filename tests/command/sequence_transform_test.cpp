// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Catch::Contains;

TEST_CASE("sequence transform finds the colour term, keeps it once, and measure starts from it",
          "[command]") {
    const Rehearsed campaign({"--nights", "1", "--frames", "3", "--stars", "20", "--no-host", "--clear",
                              "--colour-term=-0.08", "--seed", "5"});
    campaign.measure();
    // Under another name: the campaign's own table would not be believed twice.
    std::filesystem::copy_file(campaign.path("comparison.csv"), campaign.path("survey.csv"));
    const Words of_field = {"sequence", "transform", campaign.path("frames"), "--catalogue",
                            campaign.path("survey.csv")};
    auto dry = of_field;
    dry.insert(dry.end(), {"--dry-run", "--json"});
    const auto json = campaign.run(dry).json();
    REQUIRE(json["terms"].size() == 1);
    const auto& row = json["terms"][0];
    REQUIRE_FALSE(row["colour_term"].is_null());
    const double term = row["colour_term"]["value"], err = row["colour_term"]["err"];
    CAPTURE(term, err);
    CHECK(std::abs(term + 0.08) < 3.0 * err);
    CHECK(row["stored"] == false);
    CHECK(campaign.run({"sequence", "transform", "--list", "--json"}).json()["kept"].empty());

    auto drawn = of_field;
    drawn.push_back("--picture");
    const Outcome told = campaign.run(drawn);
    CHECK(told.status == 0);
    CHECK_THAT(told.out, Contains("B-V") && Contains("solutions start from"));
    CHECK_THAT(contents(campaign.path("out/transform.svg")), Contains("the instrument\u2019s colours"));
    REQUIRE(campaign.run(of_field).status == 0);
    const auto kept = campaign.run({"sequence", "transform", "--list", "--json"}).json()["kept"];
    REQUIRE(kept.size() == 1);  // the same again adds nothing
    CHECK(kept[0]["colour_term"]["value"] == term);
    CHECK_THAT(campaign.run({"measure", "--again", "--json"}).out, Contains("by the ledger"));
    // From the campaign's own stars: kept, and not believed twice.
    CHECK(campaign.run({"sequence", "transform"}).status == 0);
    CHECK(campaign.run({"sequence", "transform", "--list", "--json"}).json()["kept"].size() == 2);
    CHECK_THAT(campaign.run({"measure", "--again", "--json"}).out, Contains("(survey.csv), by the ledger"));
    // What campaign.toml says wins.
    replace_once(campaign.path("campaign.toml"), "[instrument]",
                 "[instrument]\ncolour_terms = { V = [-0.05, 0.01] }");
    CHECK_THAT(campaign.run({"measure", "--again", "--json"}).out, !Contains("by the ledger"));
}

TEST_CASE("sequence transform has its statuses", "[command]") {
    const Rehearsed campaign;
    CHECK(campaign.run({"sequence", "transform"}).status == 3);
    CHECK(campaign.run({"sequence", "transform", campaign.path("frames")}).status == 2);
    campaign.measure();
    CHECK(campaign.run({"sequence", "transform", "--night", "2001-01-01"}).status == 2);
}
