// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <filesystem>

#include "page/asked.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;
using Catch::Contains;
using Json = nlohmann::json;

namespace {

ProblemKind refusal(const Result<page::Answer>& answer) {
    REQUIRE_FALSE(answer);
    CHECK_FALSE(answer.error().what.empty());
    CHECK_FALSE(answer.error().mend.empty());
    return answer.error().kind;
}

}  // namespace

TEST_CASE("the draft of a report is the command's text, line by line", "[page][report]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const auto draft = answered(session, "/api/report");
    CHECK(draft["command"] == "emberline report --dry-run");
    const auto command = campaign.run({"report", "--dry-run", "--json"}).json();
    CHECK(draft["text"] == command["text"]);
    CHECK(draft["new_lines"] == command["lines"]);
    CHECK(draft["file_name"] == "report.txt");
    std::string text;
    for (const Json& line : draft["lines"]) {
        CHECK(line["severity"].is_null());
        text += line["text"].get<std::string>() + "\n";
    }
    CHECK(text == draft["text"]);
    CHECK(draft["findings"].empty());
    const auto only = answered(session, "/api/report", {{"to", "2024-03-14"}, {"no_limits", "1"}});
    CHECK(only["new_lines"] == 1);
    CHECK(only["command"] == "emberline report --to 2024-03-14 --no-limits --dry-run");
    CHECK_FALSE(std::filesystem::exists(campaign.path("out/report.txt")));
}

TEST_CASE("a report is written, remembered, downloaded, and taken back", "[page][report]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    CHECK(refusal(asked(session, "GET", "/api/report/file")) == ProblemKind::input);
    const auto draft = answered(session, "/api/report");
    const auto sent_now = sent(session, "/api/report", {{"format", "network"}});
    if (!sent_now) FAIL(one_line(sent_now.error()));
    const auto written = Json::parse(sent_now->body);
    CHECK(written["file_name"] == "report.txt");
    CHECK(written["lines"] == draft["new_lines"]);
    CHECK(written["revision"] == session.revision());
    const auto file = asked(session, "GET", "/api/report/file", {{"format", "network"}});
    REQUIRE(file);
    CHECK(file->body == draft["text"].get<std::string>());
    CHECK(file->body == contents(campaign.path("out/report.txt")));
    CHECK(file->file_name == "report.txt");
    CHECK(campaign.run({"report", "--check", campaign.path("out/report.txt")}).status == 0);

    // Nothing is new: no file, and nothing to undo.
    CHECK(answered(session, "/api/report")["new_lines"] == 0);
    const auto twice = Json::parse(sent(session, "/api/report", Json::object())->body);
    CHECK(twice["file_name"].is_null());
    CHECK(twice["change"].is_null());

    const auto undone = sent(session, "/api/changes/undo", {{"number", written["change"]["number"]}});
    if (!undone) FAIL(one_line(undone.error()));
    CHECK(undone->status == 200);
    CHECK(answered(session, "/api/report")["new_lines"] == draft["new_lines"]);
    CHECK_FALSE(std::filesystem::exists(campaign.path("out/report.txt")));
}

TEST_CASE("malformed reports are refused in words, and nothing is written", "[page][report]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    for (const auto& query : {std::multimap<std::string, std::string>{{"format", "../../etc/passwd"}},
                              {{"format", "page"}},
                              {{"from", "nan"}},
                              {{"from", "2024-03-20"}, {"to", "2024-03-10"}},
                              {{"band", "nonsense"}},
                              {{"hold", "bad-luck"}},
                              {{"format", "server-json"}, {"frames", "1"}}})
        CHECK(refusal(asked(session, "GET", "/api/report", query)) == ProblemKind::request);
    std::multimap<std::string, std::string> many;
    for (int i = 0; i < 5000; ++i)
        many.emplace("band", "V");
    CHECK(refusal(asked(session, "GET", "/api/report", many)) == ProblemKind::request);
    for (const Json& body :
         {Json{{"format", 3}}, Json{{"band", "V"}}, Json{{"band", {1}}}, Json{{"again", "yes"}},
          Json{{"from", Json::array()}}, Json{{"hold", {"bad-luck"}}}, Json::array(), Json("text")})
        CHECK(refusal(sent(session, "/api/report", body)) == ProblemKind::request);
    CHECK(refusal(asked(session, "POST", "/api/report", {}, "{")) == ProblemKind::request);
    CHECK(refusal(asked(session, "GET", "/api/report/file", {{"format", "page"}})) == ProblemKind::request);
    CHECK_FALSE(std::filesystem::exists(campaign.path("out/report.txt")));
    CHECK(session.changes().all().empty());
}

TEST_CASE("nothing measured, nothing but limits, a file that is gone or elsewhere", "[page][report]") {
    const Rehearsed empty({"--nights", "2"});
    page::Session nothing({.campaign_folder = empty.path()});
    CHECK(refusal(asked(nothing, "GET", "/api/report")) == ProblemKind::input);
    CHECK(refusal(sent(nothing, "/api/report", Json::object())) == ProblemKind::input);

    const Rehearsed faint({"--nights", "3", "--peak-mag", "26"});
    CHECK(faint.run({"measure"}).status <= 1);
    page::Session limits({.campaign_folder = faint.path()});
    const Json report = answered(limits, "/api/report");
    for (const Json& line : report["lines"]) {
        const auto text = line["text"].get<std::string>();
        if (!text.starts_with('#')) CHECK_THAT(text, Contains(",<"));
    }
    CHECK(refusal(asked(limits, "GET", "/api/report", {{"no_limits", "1"}})) == ProblemKind::input);

    REQUIRE(sent(limits, "/api/report", Json::object()));
    std::filesystem::remove(faint.path("out/report.txt"));
    CHECK(refusal(asked(limits, "GET", "/api/report/file")) == ProblemKind::input);

    // Written where the observer asked for, which is not the page's to hand out.
    const Folder elsewhere;
    CHECK(faint.run({"report", "--again", "-o", elsewhere.path("mine.txt")}).status <= 1);
    const auto outside = asked(limits, "GET", "/api/report/file");
    CHECK(refusal(outside) == ProblemKind::input);
    CHECK_THAT(outside.error().what, Contains("outside"));
}
