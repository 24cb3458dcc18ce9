// SPDX-License-Identifier: MIT
// Every example of every --help, run as it stands on an invented campaign.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <map>
#include <regex>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

namespace fs = std::filesystem;

// What an example needs that an invented campaign has not, or that does not end by itself.
const std::map<std::string, std::string> not_run = {
    {"gaia.csv", "a catalogue service's file"},    {"landolt.csv", "a catalogue service's file"},
    {"--catalogue field.csv", "a catalogue file"}, {"emberline page", "serves until Ctrl-C"},
    {"emberline watch", "watches until Ctrl-C"},   {".local/share", "writes outside the test's folder"},
    {"masters gain", "pairs of bright flats"}};

// Minutes of a night's frames invented, or a campaign solved again and again: only with [long].
const std::vector<std::string> slow = {"rehearse",     "stack", "measure",  "masters", "audit",    "--reason",
                                       "include 131b", "solve", "forecast", "--pdf",   "transform"};

std::vector<std::string> examples() {
    std::vector<std::string> all;
    const auto described = run({"describe", "json"}).json();
    for (const auto& command : described["commands"]) {
        for (const std::string& line : lines_of(command["footer"])) {
            if (!line.starts_with("  emberline")) continue;
            // What stands two spaces further is a remark.
            std::string example = line.substr(2);
            example = example.substr(0, example.find("  "));
            if (std::find(all.begin(), all.end(), example) == all.end()) all.push_back(example);
        }
    }
    return all;
}

bool names_one_of(const std::string& example, const std::vector<std::string>& words) {
    return std::any_of(words.begin(), words.end(),
                       [&](const std::string& word) { return example.find(word) != std::string::npos; });
}

// The campaign in which all examples are at home.
class Home {
  public:
    Home() {
        campaign_.set_star(3, "label", "131b");
        fs::rename(campaign_.path("frames/2024-03-14/V_003.fits"), campaign_.path("frames/a.fits"));
        fs::create_directories(campaign_.path("tonight"));
        for (const char* copy : {"a.fits", "b.fits", "tonight/n.fits"})
            fs::copy(
                campaign_.path("frames/2024-03-14/V_00" + std::string(copy[0] == 'b' ? "2" : "1") + ".fits"),
                campaign_.path(copy));
        for (const auto& [from, to] : {std::pair("bias", "biases"), {"dark", "darks"}, {"flat_V", "flats"}})
            fs::copy(campaign_.path("calibration/" + std::string(from)), campaign_.path(to),
                     fs::copy_options::recursive);
        write_contents(
            campaign_.path("campaign.toml"),
            contents(campaign_.path("campaign.toml")) +
                "\n[report.server]\nreporting_group = 1\ndata_source_group = 1\ninstrument = 1\nat_type = 1\n"
                "filters = { V = 1 }\nunits = { Vega = 2 }\narchive = \"DSS\"\nreporter = \"A. Observer\"\n");
        campaign_.measure();
        REQUIRE(campaign_.run({"export", "-o", campaign_.path("others.csv")}).status == 0);
        fs::copy(campaign_.path("others.csv"), campaign_.path("points.csv"));
        fs::copy(campaign_.path("others.csv"), campaign_.path("frames.ecsv"));
        REQUIRE(campaign_.run({"export", "--format", "ecsv", "-o", campaign_.path("frames.ecsv")}).status ==
                0);
        REQUIRE(campaign_.run({"report", "-o", campaign_.path("somebody.txt")}).status == 0);
        fs::copy(campaign_.path("frames/2024-03-14"), campaign_.path("frames/2025-02-03"),
                 fs::copy_options::recursive);
        fs::create_directory_symlink(".", campaign_.path("my-campaign"));
    }

    void check(const std::string& example) const {
        // A folder is made where there is none.
        const bool makes = example.find("emberline new") == 0 || example.find("emberline rehearse") == 0;
        if (makes) fs::create_directories(campaign_.path("empty"));
        const std::string said = campaign_.path("said");
        write_contents(campaign_.path("script"), example + "\n");
        const std::string command = "cd '" + campaign_.path(makes ? "empty" : "") +
                                    "' && PATH=\"$(dirname '" EMBERLINE_PROGRAM "'):$PATH\" bash '" +
                                    campaign_.path("script") + "' > '" + said + "' 2>&1 < /dev/null";
        const int status = WEXITSTATUS(std::system(command.c_str()));
        INFO(example << "\n" << contents(said));
        CHECK(status <= 1);  // 1: done, but something was refused
        if (makes) fs::remove_all(campaign_.path("empty"));
    }

  private:
    Rehearsed campaign_{{"--nights", "3", "--frames", "3", "--calibration", "3"}};
};

void run_examples(bool slow_ones) {
    const Home home;
    std::size_t count = 0;
    for (const std::string& example : examples()) {
        const auto why = std::find_if(not_run.begin(), not_run.end(), [&](const auto& one) {
            return example.find(one.first) != std::string::npos;
        });
        if (why != not_run.end()) {
            if (slow_ones) WARN("NOT RUN: " << example << ": " << why->second);
        } else if (names_one_of(example, slow) == slow_ones) {
            home.check(example);
            ++count;
        }
    }
    CHECK(count > (slow_ones ? 15 : 25));
}

}  // namespace

TEST_CASE("the quick examples of every help do what they say", "[command][examples]") {
    run_examples(false);
}

TEST_CASE("the slow examples of every help do what they say", "[.][long][examples]") {
    run_examples(true);
}
