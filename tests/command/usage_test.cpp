// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

const Words commands = {"new",    "rehearse", "inspect", "solve",  "watch",   "measure",
                        "nights", "curve",    "report",  "export", "exclude", "include"};

void misuse(const Words& words, const std::string& what, const std::string& to_do) {
    const Outcome outcome = run(words);
    const std::string line = outcome.problem();
    INFO(line);
    CHECK(outcome.status == 2);
    CHECK(outcome.out.empty());
    CHECK(line.find(what) != std::string::npos);
    CHECK(line.ends_with(to_do));
}

}  // namespace

TEST_CASE("every command of the contract is in the program's help", "[command][usage]") {
    const Outcome help = run({"--help"});
    CHECK(help.status == 0);
    CHECK(help.err.empty());
    CHECK(help.out.find("Example") != std::string::npos);
    for (const std::string& command : commands) {
        INFO(command);
        CHECK(help.out.find("\n  " + command + " ") != std::string::npos);
    }
    for (const char* option : {"-c,--campaign", "--json", "-q,--quiet", "-j,--threads"})
        CHECK(help.out.find(option) != std::string::npos);
}

TEST_CASE("every command has help with an example of itself", "[command][usage]") {
    for (const std::string& command : commands) {
        INFO(command);
        const Outcome help = run({command, "--help"});
        CHECK(help.status == 0);
        CHECK(help.err.empty());
        const std::size_t example = help.out.find("Example");
        REQUIRE(example != std::string::npos);
        CHECK(help.out.find("\n  emberline " + command, example) != std::string::npos);
    }
}

TEST_CASE("the version is one line", "[command][usage]") {
    const Outcome version = run({"--version"});
    CHECK(version.status == 0);
    REQUIRE(lines_of(version.out).size() == 1);
    CHECK(version.out.starts_with("emberline 0."));
}

TEST_CASE("bad usage is told in one line that names the help to read", "[command][usage]") {
    const std::string of_all = "`emberline --help` shows how it is used.";
    misuse({}, "No command was given.", of_all);
    misuse({"frobnicate"}, "There is no command 'frobnicate'.", of_all);
    misuse({"--frobnicate"}, "--frobnicate", of_all);
    misuse({"measure", "--frobnicate"}, "measure: ", "`emberline measure --help` shows how it is used.");
    misuse({"export", "--level", "moon"}, "moon not in", "`emberline export --help` shows how it is used.");
    misuse({"export", "--format", "pdf"}, "pdf not in", "`emberline export --help` shows how it is used.");
    misuse({"exclude"}, "WHAT", "`emberline exclude --help` shows how it is used.");
    misuse({"exclude", "first"}, "--reason", "`emberline exclude --help` shows how it is used.");
    misuse({"inspect", "--frames"}, "--frames", "`emberline inspect --help` shows how it is used.");
    misuse({"measure", "-j", "many"}, "many", "`emberline measure --help` shows how it is used.");
    const std::string of_rehearse = "`emberline rehearse --help` shows how it is used.";
    misuse({"rehearse", "x", "--nights", "0"}, "--nights", of_rehearse);
    misuse({"rehearse", "x", "--host", "triangle"}, "triangle not in", of_rehearse);
    misuse({"rehearse", "x", "--template-scale", "2"}, "--with-template", of_rehearse);
}

// IEEE 754-2019, 5.11: nothing is below or above a NaN, so that no comparison with a range refuses it.
TEST_CASE("no option with a range takes a number that is none", "[command][usage]") {
    for (const Words& words :
         {Words{"forecast", "--goal"}, Words{"forecast", "--passes"}, Words{"forecast", "--least-altitude"},
          Words{"page", "--goal"}, Words{"nights", "--frames", "--goal"}, Words{"watch", "--until"},
          Words{"solve", "x.fits", "--scale"}, Words{"curve", "--ebv"},
          Words{"sequence", "build", "x.csv", "--expected"},
          Words{"sequence", "build", "x.csv", "--epoch"}}) {
        for (const char* number : {"nan", "inf"}) {
            Words all = words;
            all.emplace_back(number);
            const Outcome outcome = run(all);
            INFO(words.front() << ' ' << words.back() << ' ' << number);
            CHECK(outcome.status == 2);
            CHECK(outcome.problem().find("is not a number from") != std::string::npos);
        }
    }
}

TEST_CASE("words that mean nothing to a campaign are bad usage", "[command][usage]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    for (const Words& words :
         {Words{"exclude", "999", "--reason", "it varies"}, Words{"include", "999"},
          Words{"exclude", "2031-01-01", "--reason", "haze"}, Words{"exclude", "first", "--reason", " "},
          Words{"curve", "--band", "Zork"}, Words{"curve", "--from", "never"},
          Words{"curve", "--model", "cubic"}, Words{"curve", "--picture", "curve.gif"},
          Words{"report", "--band", "Zork"}, Words{"report", "--from", "never"},
          Words{"new", campaign.path()}, Words{"rehearse", campaign.path()}}) {
        INFO(words.front() << " " << words.back());
        const Outcome outcome = campaign.run(words);
        CHECK(outcome.status == 2);
        CHECK(outcome.out.empty());
        CHECK(outcome.problem().ends_with('.'));
    }
    CHECK(campaign.run({"nights"}).out.find("Set aside") == std::string::npos);
}

TEST_CASE("where nothing was measured, every command says to measure first", "[command][usage]") {
    const Rehearsed campaign;
    for (const Words& words :
         {Words{"nights"}, Words{"curve"}, Words{"report"}, Words{"export"}, Words{"measure", "--again"}}) {
        INFO(words.front());
        const Outcome outcome = campaign.run(words);
        CHECK(outcome.status == 3);
        CHECK(outcome.problem().find("`emberline measure") != std::string::npos);
    }
    std::filesystem::remove(campaign.path("campaign.ledger"));
    std::filesystem::create_directory(campaign.path("empty"));
    const Outcome no_files = campaign.run({"measure", campaign.path("empty")});
    CHECK(no_files.status == 3);
    CHECK(no_files.problem().find("No FITS files were found.") != std::string::npos);
    std::filesystem::remove_all(campaign.path("frames"));
    const Outcome no_folder = campaign.run({"measure"});
    CHECK(no_folder.status == 2);
    CHECK(no_folder.problem().find("There are no frames to measure.") != std::string::npos);
}

TEST_CASE("a new campaign is read by every command, and is not written over", "[command][usage]") {
    const Folder folder;
    const std::string campaign = folder.path("mine");
    CHECK(run({"new", campaign}).status == 0);
    CHECK(run({"nights", "-c", campaign}).status == 3);
    CHECK(run({"measure", "-c", campaign}).status == 3);
    write_contents(campaign + "/comparison.csv", "my stars");
    const Outcome again = run({"new", campaign});
    CHECK(again.status == 2);
    CHECK(again.problem().find("There is a campaign in that folder already.") != std::string::npos);
    CHECK(contents(campaign + "/comparison.csv") == "my stars");
}
