// SPDX-License-Identifier: MIT
#include "house/house_rules.hpp"

#include <catch2/catch.hpp>
#include <set>

using namespace emberline::test;

namespace {

constexpr const char* licence = "// SPDX-License-Identifier: MIT\n";

// What the rules say of one line planted in a file of that room.
std::string planted(const std::string& room, const std::string& line) {
    const auto found = breaches(
        {"src/" + room + "/planted.cpp", std::string(licence) + "#include <vector>\n" + line + "\n"});
    if (found.empty()) return "";
    REQUIRE(found.size() == 1);
    CHECK(found.front().line == 3);
    return found.front().what;
}

std::vector<Breach> breaches_of(const std::vector<SourceFile>& sources) {
    std::vector<Breach> all;
    for (const SourceFile& source : sources) {
        const auto found = breaches(source);
        all.insert(all.end(), found.begin(), found.end());
    }
    return all;
}

}  // namespace

TEST_CASE("in src/ every include follows the light, and every outside library stays in its room", "[house]") {
    const auto sources = read_sources(EMBERLINE_SOURCE_DIR, "src");
    std::set<std::string> seen;
    for (const SourceFile& source : sources) {
        if (source.path.ends_with("pp")) seen.insert(source.path.substr(4, source.path.find('/', 4) - 4));
    }
    // Were the folder read wrongly, all would be silence: each room must have shown a source.
    CHECK(seen.size() == rooms().size());
    const auto found = breaches_of(sources);
    INFO(in_words(found));
    CHECK(found.empty());
}

TEST_CASE("in tests/ every source carries the licence and is short enough to read", "[house]") {
    const auto sources = read_sources(EMBERLINE_SOURCE_DIR, "tests");
    CHECK(sources.size() > rooms().size());
    const auto found = breaches_of(sources);
    INFO(in_words(found));
    CHECK(found.empty());
}

TEST_CASE("an include against the light is caught, one with it is not", "[house]") {
    CHECK(planted("photometry", "#include \"night/campaign.hpp\"") ==
          "photometry includes night/campaign.hpp: the light does not walk that way");
    CHECK(planted("night", "#include \"photometry/noise.hpp\"").empty());
    CHECK(planted("night", "#include \"night/campaign.hpp\"").empty());
    // However it is written.
    CHECK_FALSE(planted("sky", "  #  include \"frame/frame.hpp\"  // for a moment").empty());
    CHECK_FALSE(planted("sky", "#include <frame/frame.hpp>").empty());
    CHECK_FALSE(planted("sky", "#include \"../frame/frame.hpp\"").empty());
    CHECK_FALSE(planted("sky", "#include \"horizon.hpp\"").empty());
    CHECK_FALSE(planted("sky", "#include \"nowhere/file.hpp\"").empty());
    // A line that only speaks of an include is none.
    CHECK(planted("sky", "// #include \"frame/frame.hpp\"").empty());
}

TEST_CASE("neighbours who must not know of each other are kept apart", "[house]") {
    CHECK_FALSE(may_include("exchange", "picture"));
    CHECK_FALSE(may_include("picture", "exchange"));
    CHECK_FALSE(may_include("rehearsal", "night"));
    CHECK_FALSE(may_include("rehearsal", "stars"));
    CHECK(may_include("rehearsal", "standard"));
    CHECK_FALSE(may_include("tasks", "rehearsal"));
    CHECK(may_include("command", "rehearsal"));
    CHECK_FALSE(may_include("lightcurve", "ledger"));
    CHECK(may_include("ledger", "night"));
    CHECK_FALSE(may_include("ledger", "frame"));
    CHECK_FALSE(may_include("quantities", "numerics"));
    CHECK_FALSE(may_include("attic", "quantities"));
}

TEST_CASE("no two rooms may include each other", "[house]") {
    for (const auto one : rooms()) {
        CHECK(may_include(one, one));
        for (const auto other : rooms()) {
            INFO(one << " and " << other);
            CHECK((one == other || !may_include(one, other) || !may_include(other, one)));
        }
    }
}

TEST_CASE("an outside library in another room is caught", "[house]") {
    struct {
        const char *header, *home;
    } const libraries[] = {
        {"Eigen/Dense", "numerics"},    {"erfa.h", "sky"},          {"fitsio.h", "frame"},
        {"wcslib/wcs.h", "frame"},      {"sqlite3.h", "ledger"},    {"toml++/toml.h", "night"},
        {"nlohmann/json.hpp", "tasks"}, {"CLI/CLI.hpp", "command"}, {"httplib.h", "page"}};
    for (const auto& [header, home] : libraries) {
        for (const auto room : rooms()) {
            const bool at_home =
                room == home || ((room == "command" || room == "exchange" || room == "page") &&
                                 std::string(header) == "nlohmann/json.hpp");
            INFO(header << " in " << room);
            CHECK(planted(std::string(room), "#include <" + std::string(header) + ">").empty() == at_home);
        }
    }
    CHECK(planted("sky", "#include <fmt/format.h>").empty());
    CHECK_FALSE(planted("sky", "#include <zlib.h>").empty());
}

TEST_CASE("a source without its licence, of too many lines, or outside every room is caught", "[house]") {
    const std::string longest = licence + std::string(most_lines - 1, '\n');
    CHECK(breaches({"src/sky/a.cpp", longest}).empty());
    CHECK(breaches({"src/sky/a.cpp", longest + "\n"}).size() == 1);
    CHECK(breaches({"tests/sky/a.cpp", longest + "\n"}).size() == 1);
    CHECK(breaches({"tests/CMakeLists.txt", std::string(most_lines + 1, '\n')}).size() == 1);
    CHECK(breaches({"src/sky/a.hpp", "#pragma once\n"}).size() == 1);
    CHECK(breaches({"src/sky/a.hpp", ""}).size() == 1);
    CHECK(breaches({"src/attic/a.hpp", licence}).size() == 1);
    CHECK(breaches({"src/a.hpp", licence}).size() == 1);
}
