// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "page/asked.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;
using nlohmann::json;

TEST_CASE("a campaign that was never measured is shown, and its newest night says what to do",
          "[page][campaign]") {
    const Rehearsed campaign({"--nights", "1"});
    page::Session session({.campaign_folder = campaign.path(), .goal_mag = 0.03});
    const json own = answered(session, "/api/campaign");
    CHECK_FALSE(own["measured"].get<bool>());
    CHECK(own["newest_night"].is_null());
    CHECK(own["nights"] == json::array());
    CHECK(own["bands"] == json::array());
    CHECK(own["goal_mag"] == 0.03);
    CHECK(own["revision"] == session.revision());
    CHECK_FALSE(own["watching"]["under_way"].get<bool>());
    CHECK(own["changes"] == json({{"count", 0}, {"undoable", nullptr}}));
    CHECK(answered(session, "/api/nights")["nights"] == json::array());
    const auto newest = asked(session, "GET", "/api/nights/newest");
    REQUIRE(newest);
    CHECK(newest->status == 409);
    CHECK(json::parse(newest->body)["problem"]["mend"].get<std::string>().find("emberline measure") !=
          std::string::npos);
}

TEST_CASE("a measured campaign is answered with its bands, nights and what the commands say of them",
          "[page][campaign]") {
    const Rehearsed campaign({"--nights", "2", "--band", "B", "--band", "V"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path(), .series = {"others/far.csv"}});
    const json own = answered(session, "/api/campaign");
    CHECK(own["measured"].get<bool>());
    CHECK(own["can_change"].get<bool>());
    CHECK_FALSE(own["key_needed"].get<bool>());
    CHECK(own["newest_night"] == "2024-03-18");
    CHECK(own["series"] == json::array({"far.csv"}));
    REQUIRE(own["bands"].size() == 2);
    CHECK(own["bands"][0]["name"] == "B");
    CHECK(own["bands"][0]["wavelength_nm"] < own["bands"][1]["wavelength_nm"]);
    CHECK(own["bands"][0]["shape"] != own["bands"][1]["shape"]);
    CHECK(own["bands"][0]["colour"] != own["bands"][1]["colour"]);
    CHECK(own["bands"][1]["shape"] == "disc");
    CHECK(own["position"]["ra_deg"].get<double>() > 0.0);
    const json told = campaign.run({"nights", "--json"}).json();
    const json nights = answered(session, "/api/nights");
    CHECK(nights["nights"] == told["nights"]);
    std::size_t frames = 0, used = 0;
    for (const json& night : own["nights"]) {
        CHECK(night["bands"] == json::array({"B", "V"}));
        frames += night["frames"].get<std::size_t>();
        used += night["used"].get<std::size_t>();
    }
    std::size_t told_used = 0, told_frames = 0;
    for (const json& night : told["nights"]) {
        told_used += night["n_frames"].get<std::size_t>();
        told_frames += night["n_frames"].get<std::size_t>() + night["n_rejected"].get<std::size_t>();
    }
    CHECK(own["nights"].size() == 2);
    CHECK(frames == told_frames);
    CHECK(used == told_used);
    CHECK(answered(session, "/api/nights/newest") == answered(session, "/api/nights/2024-03-18"));
}

TEST_CASE("a night is answered as nights --frames prints it, and ends at the night's own value",
          "[page][campaign]") {
    const Rehearsed campaign({"--nights", "2", "--band", "B", "--band", "V"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const json night = answered(session, "/api/nights/newest", {{"goal", "0.001"}});
    CHECK(night["revision"] == session.revision());
    const json told = campaign.run({"nights", "--frames", "--goal", "0.001", "--json"}).json();
    CHECK(night["bands"] == told["bands"]);
    CHECK(night["goal_mag"] == told["goal_mag"]);
    CHECK(night["flips"] == told["flips"]);
    CHECK(night["remarks"] == told["remarks"]);
    REQUIRE(night["frames"].size() == told["frames"].size());
    for (std::size_t i = 0; i < told["frames"].size(); ++i) {
        for (const auto& [key, value] : told["frames"][i].items()) {
            INFO(key);
            CHECK(night["frames"][i].at(key) == value);
        }
        CHECK(night["frames"][i]["id"].get<std::string>().ends_with("-0"));
        CHECK(night["frames"][i]["mid_utc"].get<std::string>().size() ==
              std::string("2024-03-18T21:04:05Z").size());
        CHECK(night["frames"][i]["name"].get<std::string>().find('/') == std::string::npos);
    }
    REQUIRE(night["running"].size() == night["bands"].size());
    for (std::size_t i = 0; i < night["bands"].size(); ++i) {
        const json& band = night["bands"][i];
        const json& points = night["running"][i]["points"];
        REQUIRE(points.size() == band["n_frames"].get<std::size_t>());
        const json& last = points.back();
        CHECK(last["frames"] == band["n_frames"]);
        CHECK(last["mag"].get<double>() == Approx(band["mag"].get<double>()).margin(1e-6));
        CHECK(last["err_mag"].get<double>() == Approx(band["mag_err"].get<double>()).margin(1e-6));
        CHECK(band.contains("clear_to_goal_s"));
    }
}

TEST_CASE("a night that is none, and a goal that is none, are refused with what to do", "[page][campaign]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const auto none = asked(session, "GET", "/api/nights/2031-01-01");
    REQUIRE(none);
    CHECK(none->status == 404);
    CHECK(json::parse(none->body)["problem"]["mend"].get<std::string>().find("2024-03-14") !=
          std::string::npos);
    for (const char* goal : {"0", "-1", "much", "1e9", "nan"}) {
        const auto bad = asked(session, "GET", "/api/nights/newest", {{"goal", goal}});
        REQUIRE_FALSE(bad);
        CHECK(bad.error().kind == ProblemKind::request);
    }
}

TEST_CASE("what was set aside is told, and another revision with it", "[page][campaign]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const std::string before = answered(session, "/api/campaign")["revision"];
    CHECK(campaign.run({"exclude", "first", "--reason", "it varies"}).status == 0);
    const json nights = answered(session, "/api/nights");
    CHECK(nights["revision"] != before);
    REQUIRE(nights["exclusions"].size() == 1);
    CHECK(nights["exclusions"][0]["kind"] == "star");
    CHECK(nights["exclusions"][0]["key"] == "first");
    CHECK(nights["exclusions"][0]["reason"] == "it varies");
}
