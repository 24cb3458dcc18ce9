// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "page/asked.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;
using Catch::Contains;
using nlohmann::json;

namespace {

json exclude(const char* key, const char* reason) {
    return {{"action", "exclude"}, {"kind", "star"}, {"key", key}, {"reason", reason}};
}

json include(const char* key) {
    return {{"action", "include"}, {"kind", "star"}, {"key", key}};
}

json done(const Result<page::Answer>& answer) {
    if (!answer) FAIL(one_line(answer.error()));
    CHECK(answer->status == 200);
    return json::parse(answer->body);
}

std::string nights_of(const Rehearsed& campaign) {
    return campaign.run({"nights", "--json"}).out;
}

json changes(page::Session& session) {
    return answered(session, "/api/changes");
}

}  // namespace

TEST_CASE("a preview is what the command's dry run prints", "[page][changes]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const auto preview =
        answered(session, "/api/preview", {{"action", "exclude"}, {"kind", "star"}, {"key", "first"}});
    CHECK(preview == json::parse(campaign.run({"exclude", "first", "--dry-run", "--json"}).out));
    CHECK(changes(session)["changes"].empty());
    for (const char* name : {"action", "kind", "key"}) {
        std::multimap<std::string, std::string> query = {
            {"action", "exclude"}, {"kind", "star"}, {"key", "first"}};
        query.erase(name);
        query.emplace(name, "nonsense");
        const auto refused = asked(session, "GET", "/api/preview", query);
        INFO(name);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().kind == ProblemKind::request);
        CHECK_FALSE(refused.error().mend.empty());
    }
}

TEST_CASE("a star is set aside, taken back and undone, and everything comes back to the last digit",
          "[page][changes]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const std::string before = nights_of(campaign), revision = session.revision();
    CHECK(changes(session)["undoable"].is_null());

    const json aside = done(sent(session, "/api/changes", exclude("first", " it varies ")));
    CHECK(aside["changed"] == true);
    CHECK(aside["words"] == "Star first is set aside: it varies");
    CHECK(aside["change"]["number"] == 1);
    CHECK(aside["revision"] != revision);
    const std::string without = nights_of(campaign);
    CHECK(without != before);
    CHECK_THAT(without, Contains("it varies"));
    CHECK(changes(session)["undoable"]["number"] == 1);

    // The same once more is no change, and leaves nothing to undo.
    const json same = done(sent(session, "/api/changes", exclude("first", "it varies")));
    CHECK(same["changed"] == false);
    CHECK(same["change"].is_null());

    const json back = done(sent(session, "/api/changes", include("first")));
    CHECK(back["change"]["number"] == 2);
    CHECK(nights_of(campaign) == before);

    // Undone one by one, the newest first: set aside again with its former reason, then as at the start.
    // 2^32 + 2 is no change, and not the second one either.
    const auto beyond = sent(session, "/api/changes/undo", {{"number", 4294967298}});
    REQUIRE(beyond);
    CHECK(beyond->status == 409);
    const json undone = done(sent(session, "/api/changes/undo", {{"number", 2}}));
    CHECK_THAT(undone["words"].get<std::string>(), Contains("Taken back: Star first counts again."));
    CHECK(undone["undoable"]["number"] == 1);
    const auto exclusions = campaign.run({"nights", "--json"}).json().at("set_aside");
    REQUIRE(exclusions.size() == 1);
    CHECK(exclusions[0]["reason"] == "it varies");
    const json first = done(sent(session, "/api/changes/undo", {{"number", 1}}));
    CHECK(first["undoable"].is_null());
    CHECK(nights_of(campaign) == before);
    const json all = changes(session)["changes"];
    REQUIRE(all.size() == 2);
    CHECK(all[0]["undone"] == true);
    CHECK(all[1]["undone"] == true);
}

TEST_CASE("nobody undoes another's work unawares", "[page][changes]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const auto nothing = sent(session, "/api/changes/undo", {{"number", 1}});
    REQUIRE(nothing);
    CHECK(nothing->status == 409);
    CHECK_THAT(nothing->body, Contains("There is nothing to take back."));
    done(sent(session, "/api/changes", exclude("first", "it varies")));
    done(sent(session, "/api/changes",
              {{"action", "exclude"}, {"kind", "night"}, {"key", "2024-03-18"}, {"reason", "haze"}}));
    // One page still shows the first change as the newest.
    const auto other = sent(session, "/api/changes/undo", {{"number", 1}});
    REQUIRE(other);
    CHECK(other->status == 409);
    CHECK_THAT(other->body, Contains("The night of 2024-03-18 is set aside: haze"));

    // In another terminal the night is taken back: the undo says so, and the change before it is next.
    CHECK(campaign.run({"include", "2024-03-18"}).status == 0);
    const std::string as_left = nights_of(campaign);
    const json late = done(sent(session, "/api/changes/undo", {{"number", 2}}));
    CHECK_THAT(late["words"].get<std::string>(),
               Contains("Nothing was changed: The night of 2024-03-18 is not set aside any more"));
    CHECK(nights_of(campaign) == as_left);
    CHECK(late["undoable"]["number"] == 1);
    // And set aside anew there, for another reason: it is not the page's to take back.
    CHECK(campaign.run({"exclude", "first", "--reason", "blended"}).status == 0);
    const json not_ours = done(sent(session, "/api/changes/undo", {{"number", 1}}));
    CHECK_THAT(not_ours["words"].get<std::string>(), Contains("is set aside now (blended)"));
    CHECK_THAT(nights_of(campaign), Contains("blended"));
    CHECK(not_ours["undoable"].is_null());
}

TEST_CASE("a change that makes no sense is refused, and changes nothing", "[page][changes]") {
    const Rehearsed campaign;
    page::Session session({.campaign_folder = campaign.path()});
    // Nothing is measured: no ledger comes about by asking.
    const auto early = sent(session, "/api/changes", exclude("first", "it varies"));
    REQUIRE_FALSE(early);
    CHECK(early.error().kind == ProblemKind::input);
    CHECK_FALSE(std::filesystem::exists(campaign.path("campaign.ledger")));
    campaign.measure();
    const std::string before = nights_of(campaign);
    const json bodies[] = {exclude("999", "it varies"),
                           exclude("first", "  "),
                           exclude("first", "two\nlines"),
                           {{"action", "exclude"}, {"kind", "star"}, {"reason", "no key"}},
                           {{"action", "exclude"}, {"kind", "star"}, {"key", 5}, {"reason", "a number"}},
                           {{"action", "delete"}, {"kind", "star"}, {"key", "first"}, {"reason", "?"}},
                           {{"action", "exclude"}, {"kind", "planet"}, {"key", "first"}, {"reason", "?"}},
                           json::array()};
    for (const json& body : bodies) {
        INFO(body.dump());
        const auto refused = sent(session, "/api/changes", body);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().kind == ProblemKind::request);
        CHECK_FALSE(refused.error().mend.empty());
    }
    CHECK_FALSE(sent(session, "/api/changes/undo", {{"number", "1"}}));
    CHECK_FALSE(sent(session, "/api/changes/undo", json::object()));
    CHECK(nights_of(campaign) == before);
    CHECK(changes(session)["changes"].empty());
}
