// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <set>
#include <sstream>

#include "page/asked.hpp"
#include "program/rehearsed.hpp"
#include "watched.hpp"

using namespace emberline;
using namespace emberline::testing;
using Catch::Contains;
using Json = nlohmann::json;

namespace {

// What the given command prints, as a document.
Json printed(const Rehearsed& campaign, const std::string& command) {
    std::istringstream stream(command);
    Words words;
    for (std::string word; stream >> word;)
        words.push_back(word);
    REQUIRE(words.at(0) == "emberline");
    words.erase(words.begin());
    if (words.at(0) == "curve") words.emplace_back("--no-picture");
    words.emplace_back("--json");
    return campaign.run(words).json();
}

Problem refused(page::Session& session, const std::string& path,
                const std::multimap<std::string, std::string>& query) {
    const auto answer = asked(session, "GET", path, query);
    REQUIRE_FALSE(answer);
    CHECK_FALSE(answer.error().what.empty());
    CHECK_FALSE(answer.error().mend.empty());
    return answer.error();
}

std::set<std::string> files_of(const std::string& folder) {
    std::set<std::string> names;
    std::error_code none;
    for (const auto& entry : std::filesystem::directory_iterator(folder, none))
        names.insert(entry.path().filename().string());
    return names;
}

const Words four_nights{"--nights", "4", "--band", "B", "--band", "V"};

}  // namespace

TEST_CASE("the curve has the command's numbers, every point, and residuals against its line",
          "[page][curve]") {
    const Rehearsed campaign(four_nights);
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const auto curve = answered(session, "/api/curve");
    const Json command = printed(campaign, curve["command"]);
    for (const auto& [key, value] : command.items())
        CHECK(curve.at(key) == value);
    CHECK(curve["series"] == Json::array({"own"}));
    const auto nights = campaign.run({"nights", "--json"}).json().at("nights");
    for (const char* band : {"B", "V"}) {
        INFO(band);
        const Json &points = curve["points"][band], &line = curve["lines"][band];
        REQUIRE(points.size() == 4);
        REQUIRE(line.size() > 2);
        CHECK(line.front()["bjd_tdb"].get<double>() <= points.front()["bjd_tdb"].get<double>() + 1e-9);
        CHECK(line.back()["bjd_tdb"].get<double>() >= points.back()["bjd_tdb"].get<double>() - 1e-9);
        std::size_t found = 0;
        for (const Json& night : nights) {
            if (night["band"] != band) continue;
            for (const Json& point : points) {
                if (point["night"] != night["night"]) continue;
                ++found;
                CHECK(point["mag"].get<double>() == night["mag"].get<double>());
                CHECK(point["err_mag"].get<double>() == Approx(night["mag_err"].get<double>()).epsilon(1e-6));
                CHECK_FALSE(point["is_limit"].get<bool>());
            }
        }
        CHECK(found == 4);
        REQUIRE(curve["bands"][band]["chosen"] == "straight-line");
        // A straight line may be read between its ends.
        const double t0 = line.front()["bjd_tdb"], t1 = line.back()["bjd_tdb"], m0 = line.front()["mag"],
                     m1 = line.back()["mag"];
        for (const Json& point : points) {
            const double on_line = m0 + (m1 - m0) * (point["bjd_tdb"].get<double>() - t0) / (t1 - t0);
            CHECK(point["residual_mag"].get<double>() ==
                  Approx(point["mag"].get<double>() - on_line).margin(1e-6));
        }
    }
}

TEST_CASE("the rate of a picked interval is the command's to the last digit, and quick", "[page][curve]") {
    const Rehearsed campaign(four_nights);
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    for (const auto& [from, to] : {std::pair<std::string, std::string>{"2460383.5", "2460393.25"},
                                   {"2024-03-14", "2024-03-28"},
                                   {"2460387.123456789", "2460399"}}) {
        const auto rate = answered(session, "/api/curve/rate", {{"band", "V"}, {"from", from}, {"to", to}});
        INFO(rate["command"]);
        CHECK(rate["command"] == fmt::format("emberline curve --band V --rate {}:{}", from, to));
        Json given;
        const Json command = printed(campaign, rate["command"]);
        for (const Json& one : command["bands"]["V"]["rates"]) {
            if (one["name"] == "asked") given = one;
        }
        for (const char* key : {"n", "from_bjd_tdb", "to_bjd_tdb", "mag_per_day", "mag_per_100_days"})
            CHECK(rate.at(key) == given.at(key));
        const Json& line = rate["line"];
        const double slope = (line.back()["mag"].get<double>() - line.front()["mag"].get<double>()) /
                             (line.back()["bjd_tdb"].get<double>() - line.front()["bjd_tdb"].get<double>());
        CHECK(slope == Approx(rate["mag_per_day"]["value"].get<double>()).margin(1e-8));
    }
    const auto begun = std::chrono::steady_clock::now();
    constexpr int times = 20;
    for (int i = 0; i < times; ++i) {
        answered(session, "/api/curve/rate",
                 {{"band", "V"}, {"from", "2460383.5"}, {"to", fmt::format("{}", 2460393.0 + 0.1 * i)}});
    }
    const std::chrono::duration<double> each = (std::chrono::steady_clock::now() - begun) / times;
    CHECK(each.count() < 0.1 * testing::watched_slowdown);
}

TEST_CASE("other observers' points stand in the curve as a series of their own", "[page][curve]") {
    const Rehearsed campaign({"--nights", "3"});
    campaign.measure();
    std::string rows = "jd,band,mag,mag_err\n";
    for (int i = 0; i < 6; ++i)
        rows +=
            fmt::format("{:.3f},V,{:.3f},0.02\n", 2460384.5 + 2 * i, 13.2 + 0.05 * 2 * i + 0.01 * (i % 2));
    const std::string file = campaign.path("theirs.csv");
    write_contents(file, rows);
    page::Session session({.campaign_folder = campaign.path(), .series = {file}});
    const auto curve = answered(session, "/api/curve", {{"band", "V"}});
    REQUIRE(curve["series"].size() == 2);
    std::size_t theirs = 0;
    for (const Json& point : curve["points"]["V"]) {
        if (point["series"] != 1) continue;
        ++theirs;
        CHECK(point["night"].is_null());
    }
    CHECK(theirs == 6);
    CHECK(curve["command"] == fmt::format("emberline curve --series {} --band V", file));
    const auto rate =
        answered(session, "/api/curve/rate", {{"band", "V"}, {"from", "2460383.5"}, {"to", "2460393.25"}});
    CHECK(rate["mag_per_day"] == printed(campaign, rate["command"])["bands"]["V"]["rates"][0]["mag_per_day"]);
}

TEST_CASE("pictures, forecasts and tables are handed over, and out/ stays as it was", "[page][curve]") {
    const Rehearsed campaign({"--nights", "3"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const auto before = files_of(campaign.path("out"));
    for (const auto& [format, start] : {std::pair("svg", "<?xml"), {"png", "\x89PNG"}, {"pdf", "%PDF"}}) {
        const auto picture = asked(session, "GET", "/api/curve/picture", {{"format", format}});
        if (!picture) FAIL(one_line(picture.error()));
        CHECK(picture->body.starts_with(start));
        CHECK(picture->file_name == std::string("curve.") + format);
    }
    CHECK(refused(session, "/api/curve/picture", {{"format", "../x"}}).kind == ProblemKind::request);
    const auto forecast = answered(session, "/api/forecast", {{"from", "2024-04-01"}, {"nights", "3"}});
    CHECK(forecast["nights"].size() == 3);
    CHECK(forecast["table"].is_null());
    const auto table = asked(session, "GET", "/api/table", {{"format", "csv"}});
    REQUIRE(table);
    CHECK(table->body == campaign.run({"export"}).out);
    const auto fits = asked(session, "GET", "/api/table", {{"format", "fits"}, {"level", "frame"}});
    REQUIRE(fits);
    CHECK(fits->body.starts_with("SIMPLE  ="));
    CHECK(fits->file_name == "frames.fits");
    CHECK(files_of(campaign.path("out")) == before);
    // The command writes its own files, and says the same of the nights.
    const Json command = printed(campaign, forecast["command"]);
    for (const char* key : {"nights", "bands", "remarks"})
        CHECK(forecast.at(key) == command.at(key));
}

TEST_CASE("what makes no sense is refused in words", "[page][curve]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    for (const char* path : {"/api/curve", "/api/curve/picture"}) {
        for (const char* bad : {"nan", "1e999", "today", "2024-02-31", "-inf"}) {
            for (const char* name : {"from", "to", "rate"})
                CHECK(refused(session, path, {{name, bad}}).kind == ProblemKind::request);
        }
        CHECK(refused(session, path, {{"from", "2024-03-20"}, {"to", "2024-03-10"}}).mend ==
              "Exchange them.");
        CHECK(refused(session, path, {{"band", "nonsense"}}).kind == ProblemKind::request);
        CHECK(refused(session, path, {{"model", "epicycles"}}).kind == ProblemKind::request);
        CHECK(refused(session, path, {{"band", "B"}}).kind == ProblemKind::input);
    }
    std::multimap<std::string, std::string> many;
    for (int i = 0; i < 5000; ++i)
        many.emplace("band", "V");
    CHECK_THAT(refused(session, "/api/curve", many).what, Contains("5000 times"));
    CHECK_THAT(refused(session, "/api/forecast", many).what, Contains("5000 times"));
    for (const auto& query : {std::multimap<std::string, std::string>{},
                              {{"band", "V"}},
                              {{"band", "V"}, {"from", "2460384"}},
                              {{"band", "V"}, {"from", "2460394"}, {"to", "2460384"}},
                              {{"band", "nonsense"}, {"from", "2460384"}, {"to", "2460394"}},
                              {{"band", "V"}, {"from", "2460384"}, {"to", "1e999"}},
                              {{"band", "V"}, {"from", "2460384"}, {"to", "2460384.001"}}})
        CHECK(refused(session, "/api/curve/rate", query).kind == ProblemKind::request);
    CHECK(refused(session, "/api/forecast", {{"nights", "1e9"}}).kind == ProblemKind::request);
    CHECK(refused(session, "/api/forecast", {{"goal_mag", "nan"}}).kind == ProblemKind::request);
    CHECK(refused(session, "/api/forecast", {{"from", "someday"}}).kind == ProblemKind::request);
    CHECK(refused(session, "/api/table", {{"level", "star"}}).kind == ProblemKind::request);
    CHECK(refused(session, "/api/table", {{"format", "docx"}}).kind == ProblemKind::request);
}

TEST_CASE("nothing measured, one night, and limits alone are told, not drawn as a fit", "[page][curve]") {
    const Rehearsed empty({"--nights", "2"});
    page::Session nothing({.campaign_folder = empty.path()});
    for (const char* path : {"/api/curve", "/api/curve/picture", "/api/table"})
        CHECK(refused(nothing, path, {}).kind == ProblemKind::input);

    const Rehearsed one({"--nights", "1"});
    one.measure();
    page::Session single({.campaign_folder = one.path()});
    const auto curve = answered(single, "/api/curve");
    CHECK(curve["points"]["V"].size() == 1);
    CHECK(curve["lines"]["V"].empty());
    CHECK(curve["points"]["V"][0]["residual_mag"].is_null());
    CHECK(curve["bands"]["V"].contains("problem"));
    CHECK(refused(single, "/api/curve/picture", {}).kind == ProblemKind::input);

    const Rehearsed faint({"--nights", "3", "--peak-mag", "26"});
    CHECK(faint.run({"measure"}).status <= 1);
    page::Session limits({.campaign_folder = faint.path()});
    const auto only = answered(limits, "/api/curve");
    REQUIRE(only["points"]["V"].size() == 3);
    for (const Json& point : only["points"]["V"]) {
        CHECK(point["is_limit"] == true);
        CHECK(point["mag"].is_number());
        CHECK(point["err_mag"].is_null());
    }
    CHECK(only["maximum"].is_null());
    CHECK(refused(limits, "/api/curve/rate", {{"band", "V"}, {"from", "2460380"}, {"to", "2460400"}}).kind ==
          ProblemKind::request);
}
