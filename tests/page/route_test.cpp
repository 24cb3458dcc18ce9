// SPDX-License-Identifier: MIT
#include "page/route.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <set>

using namespace emberline;
using namespace emberline::page;

TEST_CASE("a path is matched part by part, and its parts have names") {
    const auto named = match("/api/frames/{id}/tiles/{level}/{column}/{row}", "/api/frames/ab-0/tiles/3/1/0");
    REQUIRE(named);
    CHECK(named->at("id") == "ab-0");
    CHECK(named->at("level") == "3");
    CHECK(named->at("row") == "0");
    CHECK(match("/api/nights", "/api/nights"));
    for (const char* other : {"/api/nights/", "/api", "/api/nights/2024-03-14/more", "/API/nights", "", "/"})
        CHECK(!match("/api/nights", other));
}

TEST_CASE("no part of a path leads elsewhere") {
    using namespace std::string_literals;
    for (const char* part : {"", "..", ".", "a/b", "../../etc/passwd"})
        CHECK(!match("/api/frames/{id}", std::string("/api/frames/") + part));
    CHECK(!match("/api/frames/{id}", "/api/frames/a\0b"s));
}

TEST_CASE("what a query says is read strictly") {
    Query query;
    query.query = {{"goal", "0.02"}, {"band", "V"}, {"band", "B"}, {"nan", "nan"}, {"large", "1e999"},
                   {"words", "two"}, {"off", "0"},  {"on", "1"},   {"empty", ""}};
    query.path = {{"level", "3"}, {"half", "1.5"}, {"minus", "-1"}};
    CHECK(query.number("goal", 0.0, 1.0).value() == 0.02);
    CHECK(query.number("absent", 0.0, 1.0).value() == std::nullopt);
    for (const char* name : {"nan", "large", "words"}) {
        const auto refused = query.number(name, -1e300, 1e300);
        REQUIRE(!refused);
        CHECK(refused.error().kind == ProblemKind::request);
        CHECK(refused.error().what.find(name) != std::string::npos);
    }
    CHECK(!query.number("goal", 0.1, 1.0));
    CHECK(query.texts("band") == std::vector<std::string>{"V", "B"});
    CHECK(query.text("empty") == std::nullopt);
    CHECK(query.flag("on"));
    CHECK(!query.flag("off"));
    CHECK(!query.flag("absent"));
    CHECK(query.whole_part("level", 0, 9).value() == 3);
    for (const char* name : {"half", "minus", "absent"})
        CHECK(!query.whole_part(name, 0, 9));
}

TEST_CASE("a change is an object of JSON, not nested beyond reason") {
    Query query;
    query.body = R"({"action": "exclude", "reason": null})";
    const auto object = query.object();
    REQUIRE(object);
    CHECK(text_member(*object, "action").value() == "exclude");
    CHECK(text_member(*object, "reason", "").value().empty());
    CHECK(!text_member(*object, "reason"));
    CHECK(!text_member(*object, "key"));
    for (const std::string& body : {std::string(), std::string("[]"), std::string("{"), std::string("\xff"),
                                    std::string("7"), std::string(100000, '[')}) {
        query.body = body;
        CHECK(!query.object());
    }
}

TEST_CASE("every route has an address of its own, and changes are told from questions") {
    std::set<std::string> seen;
    for (const Route& route : all_routes()) {
        INFO(route.pattern);
        CHECK(route.pattern.starts_with("/api/"));
        CHECK(seen.insert((route.change ? "POST " : "GET ") + route.pattern).second);
        CHECK(route.handle);
    }
    for (const char* known :
         {"GET /api/campaign", "GET /api/nights/{night}", "GET /api/frames/{id}",
          "GET /api/frames/{id}/tiles/{level}/{column}/{row}", "GET /api/frames/{id}/star",
          "GET /api/frames/{id}/host", "GET /api/curve", "GET /api/curve/rate", "GET /api/stars",
          "GET /api/preview", "POST /api/changes", "POST /api/changes/undo", "GET /api/report",
          "POST /api/report", "POST /api/watch", "POST /api/watch/stop"}) {
        INFO(known);
        CHECK(seen.contains(known));
    }
}
