// SPDX-License-Identifier: MIT
// The two files that an observer writes by hand: campaign.toml and comparison.csv.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

// Refused as a whole, in one line that names file and place and says what to do; nothing was measured.
void refused(const Rehearsed& campaign, const std::string& place, const std::string& what,
             const std::string& to_do) {
    const Outcome outcome = campaign.run({"measure"});
    const std::string line = outcome.problem();
    INFO(line);
    CHECK(outcome.status == 2);
    CHECK(outcome.out.empty());
    CHECK(line.starts_with("emberline: " + campaign.path(place) + ": "));
    CHECK(line.find(what) != std::string::npos);
    CHECK(line.find(to_do) != std::string::npos);
    CHECK((line.ends_with('.') || line.ends_with('?')));
    CHECK_FALSE(std::filesystem::exists(campaign.path("campaign.ledger")));
}

// `place` has {0} for the line of what is replaced, {1} for the one after it.
void bad_toml(const std::string& from, const std::string& to, const std::string& place,
              const std::string& what, const std::string& to_do) {
    const Rehearsed campaign;
    const std::string before = contents(campaign.path("campaign.toml"));
    const auto line =
        1 + std::count(before.begin(), before.begin() + static_cast<std::ptrdiff_t>(before.find(from)), '\n');
    replace_once(campaign.path("campaign.toml"), from, to);
    refused(campaign, "campaign.toml" + fmt::format(fmt::runtime(place), line, line + 1), what, to_do);
}

void bad_csv(const std::string& from, const std::string& to, const std::string& place,
             const std::string& what, const std::string& to_do) {
    const Rehearsed campaign;
    replace_once(campaign.path("comparison.csv"), from, to);
    refused(campaign, "comparison.csv" + place, what, to_do);
}

void bad_star(std::size_t row, const std::string& column, const std::string& value, const std::string& place,
              const std::string& what, const std::string& to_do) {
    const Rehearsed campaign;
    campaign.set_star(row, column, value);
    refused(campaign, "comparison.csv" + place, what, to_do);
}

// The sequence's header and its first rows.
void keep_stars(const Rehearsed& campaign, std::size_t n) {
    const auto lines = lines_of(contents(campaign.path("comparison.csv")));
    std::string kept;
    for (std::size_t i = 0; i <= n; ++i)
        kept += lines.at(i) + "\n";
    write_contents(campaign.path("comparison.csv"), kept);
}

// Both frames refused for want of stars, each in a line.
void too_few(
    const Rehearsed& campaign, const std::string& what,
    const std::string& to_do = "Add comparison stars with magnitudes in that band to the sequence.") {
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 3);
    REQUIRE(outcome.refused().size() == 2);
    for (const std::string& line : outcome.refused()) {
        CHECK(line.find(what) != std::string::npos);
        CHECK(line.ends_with(to_do));
    }
}

}  // namespace

TEST_CASE("TOML that cannot be read is refused by line and column", "[faults][settings]") {
    bad_toml("gain = 0.900", "gain = = 0.9", ", line {0}, column 8", "cannot be read as TOML",
             "Mend that line");
    bad_toml("\"DEMO SN 1\"", "\"DEMO SN 1", ", line {0}, column 59", "cannot be read as TOML",
             "A quotation mark is missing");
    bad_toml("gain = 0.900", "gain = 0.9\ngain = 0.8", ", line {1}, column 8", "cannot redefine",
             "keep one of the two");
    bad_toml("[site]", "[site", ", line {0}, column 6", "cannot be read as TOML", "Mend that line");
}

TEST_CASE("settings of the wrong kind are refused by line and column", "[faults][settings]") {
    bad_toml("read_noise", "reed_noise", ", line {0}, column 14, instrument.reed_noise",
             "is not a setting here", "Did you mean 'read_noise'?");
    bad_toml("latitude = 51.1000", "latitude = 151.1", ", line {0}, column 12, site.latitude", "no latitude",
             "exchanged?");
    bad_toml("gain = 0.900", "gain = \"much\"", ", line {0}, column 8, instrument.gain", "must be a number",
             "without quotation marks");
    bad_toml("13:25:21.12", "13:75:21.12", ", line {0}, column 6, transient.ra", "not a right ascension",
             "13:25:21.12");
    bad_toml("catalog =", "check = \"777\"\ncatalog =", ", comparison.check", "'777' is not in the sequence",
             "Use a label of comparison.csv");
    bad_toml("[transient]", "[transience]", ", transient", "section [transient] is missing",
             "emberline new DIR");
}

TEST_CASE("a table of stars that cannot be read is refused by line and column", "[faults][settings]") {
    bad_star(1, "V", "bright", ", line 2, column 'V'", "'bright' is not a value", "leave the field empty");
    bad_csv(",comparison\n", "\n", ", line 2, column 8", "7 fields where the header has 8",
            "Give every column a field");
    bad_star(1, "label", "\"first", ", line 2", "never closed", "Close it");
    bad_star(1, "role", "sidekick", ", line 2, column 'role'", "'sidekick' is not a role",
             "Use comparison, check or ignore");
    bad_csv("label,ra,dec", "label,ra,decl", "", "The column 'dec' is missing",
            "The first line names the columns");
    bad_csv("label,", std::string("\0\1,", 3), ", line 1", "not text", "UTF-8");
    const Rehearsed campaign;
    write_contents(campaign.path("comparison.csv"), "");
    refused(campaign, "comparison.csv", "The table is empty", "first line names the columns");
    std::filesystem::remove(campaign.path("comparison.csv"));
    refused(campaign, "comparison.csv", "cannot be read", "Check the name");
}

TEST_CASE("stars twice, or out of range, are refused by line and column", "[faults][settings]") {
    bad_star(2, "label", "first", ", line 3, column 'label'", "stands on line 2 already",
             "Call one of them firstb");
    bad_star(1, "dec", "97.304267", ", line 2, column 'dec'", "outside ±90 degrees", "Check the value");
    bad_star(1, "ra", "561.297790", ", line 2, column 'ra'", "outside 0 to 360 degrees",
             "A plain number is read as degrees");
    bad_star(1, "V", "116.79", ", line 2, column 'V'", "'116.79' is not a value between",
             "number of magnitudes");
    bad_star(1, "B_err", "-0.030", ", line 2, column 'B_err'", "'-0.030' is not a value between",
             "number of magnitudes");
    const Rehearsed campaign;
    for (const std::size_t row : {1U, 2U}) {
        campaign.set_star(row, "ra", "201.3");
        campaign.set_star(row, "dec", "37.25");
    }
    refused(campaign, "comparison.csv, lines 2 and 3", "at the same place", "Remove one of them");
}

TEST_CASE("without a comparison star in the band nothing can be measured", "[faults][settings]") {
    const Rehearsed none;
    keep_stars(none, 0);
    const std::string add = "or let `emberline sequence build CATALOGUE` choose them.";
    too_few(none, "There is no comparison star in comparison.csv.", add);
    const Rehearsed without_v;
    replace_once(without_v.path("comparison.csv"), ",V,V_err", ",Ic,Ic_err");
    too_few(without_v, "No comparison star has a magnitude in V: comparison.csv has B, Ic.");
    const Rehearsed all_ignored;
    keep_stars(all_ignored, 1);
    replace_once(all_ignored.path("comparison.csv"), "comparison\n", "ignore\n");
    too_few(all_ignored, "There is no comparison star in comparison.csv.", add);
}

TEST_CASE("one star or two are used with a warning, or refused where the campaign asks for more",
          "[faults][settings]") {
    for (const std::size_t n : {1U, 2U}) {
        const Rehearsed campaign;
        keep_stars(campaign, n);
        const Outcome few = campaign.run({"measure"});
        INFO(few.out << few.err);
        CHECK(few.status == 0);
        CHECK(few.out.find("few-comparison-stars;no-check-star") != std::string::npos);
        std::filesystem::remove(campaign.path("campaign.ledger"));
        replace_once(campaign.path("campaign.toml"), "[report]",
                     "[measure]\nleast_comparison_stars = 3\n\n[report]");
        too_few(campaign, fmt::format("{0} of {0} comparison stars of band V were found; 3 needed.", n));
    }
}

TEST_CASE("a place without a campaign is named, whatever was asked", "[faults][settings]") {
    const Folder folder;
    for (const Words& words :
         {Words{"measure"}, Words{"measure", "--again"}, Words{"nights"}, Words{"curve"}, Words{"report"},
          Words{"export"}, Words{"include", "first"}, Words{"exclude", "first", "--reason", "it varies"}}) {
        const Outcome outcome = run(words, {.folder = folder.path()});
        CHECK(outcome.status == 2);
        CHECK(
            outcome.problem() ==
            "emberline: ./campaign.toml: There is no campaign here. Name its folder with -c DIR, or make one "
            "with `emberline new DIR`.");
    }
}
