// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <filesystem>

#include "invented_table.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;
using Catch::Contains;

namespace {

const SkyPosition transient{Angle::degrees(201.338), Angle::degrees(37.27)};  // as `new` writes it

}  // namespace

TEST_CASE("sequence build goes from a fresh campaign and a catalogue to stars and a chart",
          "[command][sequence-build]") {
    const Folder folder;
    write_contents(folder.path("gaia.csv"), test::invented_table(test::invented_rows(transient, 200, 8)));
    REQUIRE(run({"new", "c"}, {.folder = folder.path()}).status == 0);
    const Words build{"sequence", "build", "gaia.csv", "-c", "c"};
    const auto with = [&](const Words& more) {
        Words words = build;
        words.insert(words.end(), more.begin(), more.end());
        return run(words, {.folder = folder.path()});
    };
    const Outcome dry = with({"--dry-run"});
    INFO(dry.out << dry.err);
    CHECK(dry.status == 0);
    CHECK_THAT(dry.out, Contains("Nothing was written.") && Contains("Not taken:") && Contains("check"));
    CHECK_FALSE(std::filesystem::exists(folder.path("c/out/finder.svg")));

    const Outcome made = with({"--magnitudes", "12:15"});
    INFO(made.out << made.err);
    CHECK(made.status == 0);
    CHECK_THAT(made.out, Contains("The stars are in") && Contains("The finder chart is in"));
    CHECK(std::filesystem::exists(folder.path("c/out/finder.svg")));
    const std::string before = contents(folder.path("c/comparison.csv"));

    // Once more: not without being told so, and then nothing is lost.
    const Outcome again = with({});
    CHECK(again.status == 2);
    CHECK_THAT(again.problem(), Contains("--replace"));
    CHECK(contents(folder.path("c/comparison.csv")) == before);
    const auto json = with({"--replace", "--stars", "5", "--json", "--chart", "chart.png"}).json();
    CHECK(contents(folder.path(json.at("kept"))) == before);
    CHECK(json.at("stars").size() == 6);
    CHECK(json.at("stars")[0].at("magnitudes").at("V").at("err_mag").get<double>() > 0.0);
    CHECK(json.at("left_out").at("not_needed").get<int>() > 0);
    CHECK(contents(folder.path("chart.png")).substr(1, 3) == "PNG");
}

TEST_CASE("sequence build says by its exit status what came of it", "[command][sequence-build]") {
    const Folder folder;
    write_contents(folder.path("gaia.csv"), test::invented_table(test::invented_rows(transient, 200, 8)));
    const SkyPosition elsewhere{Angle::degrees(20.0), Angle::degrees(-40.0)};
    write_contents(folder.path("far.csv"), test::invented_table(test::invented_rows(elsewhere, 20, 8)));
    write_contents(folder.path("broken.csv"), "source_id,ra,dec\n1,2\n");
    REQUIRE(run({"new", "c"}, {.folder = folder.path()}).status == 0);
    const auto build = [&](const Words& words) {
        Words all{"sequence", "build", "-c", "c"};
        all.insert(all.end(), words.begin(), words.end());
        return run(all, {.folder = folder.path()}).status;
    };
    CHECK(build({"gaia.csv", "--dry-run", "--band", "V", "--band", "Ic"}) == 0);
    CHECK(build({"gaia.csv", "--dry-run", "--band", "V", "--band", "B"}) == 1);  // no relation leads there
    CHECK(build({"gaia.csv", "--dry-run", "--band", "V", "--band", "K"}) == 1);
    CHECK(build({}) == 2);
    CHECK(build({"missing.csv"}) == 2);
    CHECK(build({"broken.csv"}) == 2);
    CHECK(build({"gaia.csv", "--magnitudes", "15"}) == 2);
    CHECK(build({"gaia.csv", "--magnitudes", "15:11"}) == 2);
    CHECK(build({"gaia.csv", "--band", "V9"}) == 2);
    CHECK(build({"gaia.csv", "--stars", "-1"}) == 2);
    CHECK(build({"far.csv"}) == 3);
    CHECK(build({"gaia.csv", "--magnitudes", "2:3"}) == 3);
    CHECK(build({"gaia.csv", "-o", "no/such/folder.csv"}) == 4);
    CHECK(run({"sequence", "build", "gaia.csv", "-c", "nowhere"}, {.folder = folder.path()}).status == 2);
}

TEST_CASE("the relations between magnitudes can be looked at without a campaign",
          "[command][sequence-build]") {
    const Folder folder;
    const Outcome text = run({"sequence", "build", "--relations"}, {.folder = folder.path()});
    CHECK(text.status == 0);
    CHECK_THAT(text.out, Contains("scatter") && Contains("source") && Contains("gaia-dr3"));
    const auto json = run({"sequence", "build", "--relations", "--json"}, {.folder = folder.path()}).json();
    CHECK(json.at("relations").size() > 10);
    CHECK(json.at("relations")[0].at("coefficients").size() > 1);
}

TEST_CASE("a measured campaign gets stars about the transient's last magnitude",
          "[command][sequence-build]") {
    const Rehearsed campaign;
    campaign.measure();
    const auto nights = campaign.run({"nights", "--json"}).json().at("nights");
    const double last = nights.back().at("mag").get<double>();
    // The rehearsal's sky as another catalogue would have it, stars of its sequence left where they are.
    std::vector<test::InventedRow> rows;
    const auto lines = lines_of(contents(campaign.path("comparison.csv")));
    const auto ra_dec = [](const std::string& line) {
        const auto a = line.find(','), b = line.find(',', a + 1), c = line.find(',', b + 1);
        return SkyPosition{Angle::degrees(std::stod(line.substr(a + 1, b - a - 1))),
                           Angle::degrees(std::stod(line.substr(b + 1, c - b - 1)))};
    };
    for (std::size_t i = 1; i < lines.size(); ++i)
        rows.push_back({ra_dec(lines[i]), last - 0.3 + 0.1 * static_cast<double>(i % 9), 0.8});
    write_contents(campaign.path("gaia.csv"), test::invented_table(rows));
    const auto built =
        campaign.run({"sequence", "build", campaign.path("gaia.csv"), "--replace", "--json"}).json();
    CHECK(built.at("transient_mag").get<double>() == Approx(last).margin(1e-9));
    CHECK(built.at("brightest_mag").get<double>() == Approx(last - 1.5).margin(1e-9));
    // The same stars keep their labels.
    std::size_t same = 0;
    for (const auto& star : built.at("stars")) {
        for (const std::string& line : lines)
            same += line.starts_with(star.at("label").get<std::string>() + ",") ? 1 : 0;
    }
    CHECK(same == built.at("stars").size());
    bool says_measure = false;
    for (const auto& remark : built.at("remarks"))
        says_measure =
            says_measure || remark.get<std::string>().find("emberline measure") != std::string::npos;
    CHECK(says_measure);
}
