// SPDX-License-Identifier: MIT
// The mistakes of a newcomer's first hour with the program itself: commands, folders, the report, and what
// `inspect` says of a campaign as a whole.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdlib>
#include <filesystem>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

namespace fs = std::filesystem;

const Words measure = {"measure"}, inspect = {"inspect"};

}  // namespace

TEST_CASE("a report under a code that is not the observer's is told", "[faults][first-hour]") {
    const Rehearsed measured;
    measured.measure();
    const auto report = [&](const std::string& code) {
        replace_once(measured.path("campaign.toml"), "code = \"XYZ\"", "code = \"" + code + "\"");
        Outcome outcome = measured.run({"report", "--dry-run"});
        replace_once(measured.path("campaign.toml"), "code = \"" + code + "\"", "code = \"XYZ\"");
        return outcome;
    };
    CHECK(report("").err.find("The observer's code is missing.") != std::string::npos);
    for (const char* code : {"S,J", "A. Observer", "M\xc3\xbcller"}) {
        INFO(code);
        const Outcome refused = report(code);
        CHECK(refused.status == 2);
        CHECK(refused.err.find(code) != std::string::npos);
    }
    for (const auto& [code, word] : {std::pair("abcd", "ABCD"), {"OBSERVATORY", "long"}}) {
        const Outcome doubted = report(code);
        INFO(doubted.out << doubted.err);
        CHECK(doubted.status == 0);
        CHECK((doubted.out + doubted.err).find(word) != std::string::npos);
    }
    const Outcome example = measured.run({"report", "--dry-run"});
    CHECK((example.out + example.err).find("the example's, XYZ") != std::string::npos);
}

TEST_CASE("words that the program does not know are answered with those it does", "[faults][first-hour]") {
    const auto answered = [](const Words& words, const std::string& guess) {
        const Outcome outcome = run(words);
        INFO(outcome.err);
        CHECK(outcome.status == 2);
        CHECK(outcome.problem().find("Did you mean " + guess + "?") != std::string::npos);
    };
    answered({"mesure"}, "measure");
    answered({"insepct"}, "inspect");
    answered({"plot"}, "curve");
    answered({"init"}, "new");
    answered({"measure", "--agian"}, "--again");
    answered({"measure", "-again"}, "--again");
    answered({"report", "--dryrun"}, "--dry-run");
    answered({"curve", "--bands", "V"}, "--band");
    answered({"sequence", "bild"}, "build");
    answered({"masters", "biuld"}, "build");
}

TEST_CASE("in every band a frame that shows the transient is tried out, where there is one",
          "[faults][first-hour]") {
    const Rehearsed campaign({"--nights", "1", "--frames", "2", "--band", "B", "--band", "V"});
    // The first in V points a degree beside the field; B comes before it, and its first is good.
    const std::string first = campaign.path("frames/2024-03-14/V_001.fits");
    write_contents(first, with_card(contents(first), "CRVAL2", "38.27"));
    const Outcome outcome = campaign.run(inspect);
    INFO(outcome.out << outcome.err);
    CHECK(outcome.out.find("B on frames/2024-03-14/B_001.fits") != std::string::npos);
    CHECK(outcome.out.find("V on frames/2024-03-14/V_002.fits") != std::string::npos);
}

TEST_CASE("a campaign that is somewhere else is found", "[faults][first-hour]") {
    const Rehearsed campaign;
    const auto said = [&](const Words& words, const std::string& inside) {
        const Outcome outcome = run(words, {.folder = campaign.path(inside)});
        CHECK(outcome.status == 2);
        return outcome.problem();
    };
    CHECK(said({"measure"}, "frames").find("add `-c ..`") != std::string::npos);
    CHECK(said({"measure"}, "..").find("add `-c c`") != std::string::npos);
    CHECK(said({"inspect"}, "frames").find("There is no campaign here.") != std::string::npos);
    CHECK(said({"measure", "-c", "campaign.toml"}, "").find("This is a file") != std::string::npos);
    CHECK(said({"measure", "-c", "nowhere"}, "").find("There is no such folder") != std::string::npos);
    fs::rename(campaign.path("campaign.toml"), campaign.path("campaign.toml.txt"));
    CHECK(said({"measure"}, "").find("Rename campaign.toml.txt to campaign.toml.") != std::string::npos);
}

TEST_CASE("a ledger and a folder that cannot be written are told before the night", "[faults][first-hour]") {
    if (!can_be_ordinary()) return;
    const Rehearsed campaign;
    fs::permissions(campaign.path(), fs::perms::owner_read | fs::perms::owner_exec | fs::perms::others_read |
                                         fs::perms::others_exec);
    const Outcome outcome = campaign.run(inspect, {.as_ordinary_user = true});
    fs::permissions(campaign.path(), fs::perms::owner_all);
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 4);
    CHECK(outcome.out.find("WRONG  ledger") != std::string::npos);
    CHECK(outcome.out.find("cannot be written to") != std::string::npos);
}

TEST_CASE("a whole campaign that is sound is told to be, and as a document", "[faults][first-hour]") {
    const Rehearsed campaign;
    replace_once(campaign.path("campaign.toml"), "\"XYZ\"", "\"SMJ\"");
    replace_once(campaign.path("campaign.toml"), "catalog = \"comparison.csv\"",
                 "catalog = \"comparison.csv\"\nchart = \"X1\"");
    const Outcome sound = campaign.run(inspect);
    INFO(sound.out << sound.err);
    CHECK(sound.status == 0);
    CHECK(sound.out.find("Nothing is wrong that can be seen before measuring.") != std::string::npos);
    CHECK_FALSE(fs::exists(campaign.path("campaign.ledger")));
    replace_once(campaign.path("campaign.toml"), "longitude = -1.2000", "longitude = 75.0");
    const auto json = campaign.run({"inspect", "--json"}).json();
    const auto& findings = json.at("campaign").at("findings");
    CHECK(std::any_of(findings.begin(), findings.end(), [](const auto& finding) {
        return finding.at("weight") == "wrong" && finding.at("about") == "site" &&
               finding.at("mend").template get<std::string>().find("longitude") != std::string::npos;
    }));
    const auto named = campaign.run({"inspect", "--json", campaign.first_frame()}).json();
    CHECK(named.at("files").size() == 1);
    CHECK(named.at("campaign").at("frames") == 1);
}

TEST_CASE("coordinates of date that still lie on a real frame are told from what is there",
          "[faults][first-hour]") {
    const char* datasets = std::getenv("EMBERLINE_DATASETS");
    if (datasets == nullptr) {
        WARN("EMBERLINE_DATASETS is not set: no real frame was looked at");
        return;
    }
    const fs::path series = fs::path(datasets) / "star_with_transit";
    const Folder folder;
    fs::create_directory(folder.path("frames"));
    for (const char* file : {"campaign.toml", "comparison.csv", "frames/HATP-32171220013343.FITS"})
        write_contents(folder.path(file), contents((series / file).string()));
    // The star's place at the equinox of 2017-12-20, computed with astropy 5.2.1 (FK5).
    replace_once(folder.path("campaign.toml"), "\"02:04:10.28\"", "31.32807");
    replace_once(folder.path("campaign.toml"), "\"+46:41:16.2\"", "46.77340");
    const Outcome outcome = run({"inspect", "-c", folder.path()});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 0);
    CHECK(outcome.out.find("at 02:04:10.3 +46:41:16") != std::string::npos);
    CHECK(outcome.out.find("equinox of 2017 in place of J2000") != std::string::npos);
    // Its header counts west as positive without saying so.
    CHECK(outcome.out.find("Only the longitude's sign differs") != std::string::npos);
}
