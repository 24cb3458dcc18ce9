// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "page/asked.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;

TEST_CASE("the stars and one star's frames are answered, the check star's residual as the nights have it",
          "[page][stars]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const auto stars = answered(session, "/api/stars");
    CHECK(stars["revision"] == session.revision());
    CHECK(stars["nights"] == nlohmann::json::array({"2024-03-14", "2024-03-18"}));
    const auto nights = campaign.run({"nights", "--json"}).json().at("nights");
    std::size_t checks = 0;
    for (const auto& star : stars["stars"]) {
        REQUIRE(star["bands"].size() == 1);
        const auto& band = star["bands"][0];
        CHECK(band["nights"].size() == 2);
        const auto one = answered(session, "/api/stars/" + star["label"].get<std::string>());
        CHECK(one["label"] == star["label"]);
        CHECK(one["bands"][0]["frames"].size() == 4);
        if (star["role"] != "check") continue;
        ++checks;
        CHECK(band["offset_mag"].is_null());
        for (std::size_t n = 0; n < 2; ++n) {
            CHECK(band["nights"][n]["residual_mag"].get<double>() ==
                  Approx(nights[n]["check_star"]["residual"].get<double>()).margin(0.002));
        }
    }
    CHECK(checks == 1);
    const auto unknown = asked(session, "GET", "/api/stars/999");
    REQUIRE_FALSE(unknown);
    CHECK_FALSE(unknown.error().mend.empty());
}

TEST_CASE("the stars are reckoned once for a state of the ledger, and anew for another", "[page][stars]") {
    const Rehearsed campaign({"--nights", "2"});
    page::Session session({.campaign_folder = campaign.path()});
    const auto nothing = asked(session, "GET", "/api/stars");
    REQUIRE_FALSE(nothing);
    CHECK(nothing.error().kind == ProblemKind::input);
    campaign.measure();
    const auto before = answered(session, "/api/stars");
    CHECK(answered(session, "/api/stars") == before);
    CHECK(campaign.run({"exclude", "first", "--reason", "it varies"}).status == 0);
    const auto after = answered(session, "/api/stars");
    CHECK(after["revision"] != before["revision"]);
    std::size_t aside = 0;
    for (const auto& star : after["stars"]) {
        if (star["label"] != "first") continue;
        CHECK(star["set_aside"]["reason"] == "it varies");
        CHECK(star["bands"][0]["used_in_nights"] == 0);
        ++aside;
    }
    CHECK(aside == 1);
}

TEST_CASE("the command sequence residuals says what the page is answered", "[page][stars]") {
    const Rehearsed campaign;
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    auto stars = answered(session, "/api/stars");
    stars.erase("revision");
    CHECK(campaign.run({"sequence", "residuals", "--json"}).json() == stars);
    CHECK(campaign.run({"sequence", "residuals", "first", "--json"}).json() ==
          answered(session, "/api/stars/first"));
    const Outcome table = campaign.run({"sequence", "residuals"});
    CHECK(table.status == 0);
    CHECK(lines_of(table.out).size() == stars["stars"].size() + 3);  // a heading; a blank line and a sentence
    CHECK(lines_of(campaign.run({"sequence", "residuals", "first"}).out).size() == 3);
    const Outcome unknown = campaign.run({"sequence", "residuals", "999"});
    CHECK(unknown.status == 2);
    CHECK(unknown.problem().find("No star of the sequence has that label.") != std::string::npos);
}
