// SPDX-License-Identifier: MIT
// report: what goes out once, what goes out again, and what stays behind.
#include <catch2/catch.hpp>
#include <filesystem>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

std::vector<std::string> data_lines(const std::string& report) {
    std::vector<std::string> lines;
    for (const std::string& line : lines_of(report)) {
        if (!line.starts_with('#')) lines.push_back(line);
    }
    return lines;
}

}  // namespace

TEST_CASE("a night is reported once; a changed one is a revision; one that is gone is told",
          "[command][report]") {
    const Rehearsed campaign({"--nights", "3"});
    const std::string report = campaign.path("out/report.txt");
    CHECK(campaign.run({"measure", campaign.path("frames/2024-03-14")}).status == 0);
    CHECK(campaign.run({"report"}).status == 0);
    const auto first = data_lines(contents(report));
    REQUIRE(first.size() == 1);

    // Nothing new: the file stands as it was.
    const std::string before = contents(report);
    const Outcome nothing = campaign.run({"report", "--json"});
    CHECK(nothing.status == 0);
    CHECK(nothing.json().at("lines") == 0);
    CHECK(nothing.json().at("reported_before") == 1);
    CHECK(nothing.json().at("file") == "");
    CHECK(contents(report) == before);
    CHECK(campaign.run({"report"}).out.find("Nothing is new") != std::string::npos);

    // Asked for again, it goes out again, unchanged and not marked.
    CHECK(campaign.run({"report", "--again", "-o", campaign.path("again.txt")}).status == 0);
    CHECK(data_lines(contents(campaign.path("again.txt"))) == first);

    // Two more nights. Solved with them, the first may have moved: then it comes along, marked.
    campaign.measure();
    const Outcome dry = campaign.run({"report", "--dry-run", "--json"});
    const auto lines = dry.json().at("lines").get<std::size_t>();
    CHECK(lines - dry.json().at("revisions").get<std::size_t>() == 2);
    CHECK(data_lines(dry.json().at("text").get<std::string>()).size() == lines);
    CHECK(dry.json().at("file") == "");
    CHECK(contents(report) == before);
    const Outcome more = campaign.run({"report", "--since", "2024-03-16", "--json"});
    CHECK(more.status == 0);
    CHECK(more.json().at("lines") == 2);
    CHECK(more.json().at("revisions") == 0);
    CHECK(data_lines(contents(report)).size() == 2);
    const std::string alone = contents(report);
    CHECK(campaign.run({"report", "--again", "-o", campaign.path("again.txt")}).status == 0);
    // again.txt is the newest report now; report.txt is kept all the same …
    const Outcome other = campaign.run({"report", "--again", "--json"});
    CHECK(other.status == 0);
    CHECK(contents(other.json().at("kept_copy")) == alone);
    // … and found to be the campaign's own from wherever it is named.
    const Outcome last =
        run({"report", "--again", "--json", "-q", "-c", "../c"}, {.folder = campaign.path()});
    const std::string kept = last.json().at("kept_copy");
    REQUIRE_FALSE(kept.empty());
    CHECK(data_lines(contents(campaign.path(kept))).size() == 3);
    CHECK(data_lines(contents(report)).size() == 3);

    // Another catalogue magnitude for a star moves every night by more than a fifth of its error.
    campaign.set_star(1, "V", "12.6");
    campaign.set_star(2, "V", "12.6");
    campaign.set_star(3, "V", "12.6");
    CHECK(campaign.run({"measure", "--again"}).status == 0);
    const Outcome revised = campaign.run({"report", "--json"});
    CHECK(revised.json().at("revisions") == 3);
    for (const std::string& line : data_lines(contents(report)))
        CHECK(line.find("revision of the value of 20") != std::string::npos);
    CHECK(campaign.run({"report", "--check", report}).status == 0);

    // A night set aside is no longer measured: who has it should be told.
    CHECK(campaign.run({"exclude", "2024-03-14", "--reason", "haze"}).status == 0);
    const Outcome gone = campaign.run({"report", "--again", "--json"});
    CHECK(gone.json().at("lines") == 2);
    CHECK(gone.json().at("remarks").dump().find("night 2024-03-14 V main was reported on") !=
          std::string::npos);
}

TEST_CASE("what the observer does not want to report is held back with its reason", "[command][report]") {
    const Rehearsed campaign;
    replace_once(campaign.path("campaign.toml"), "[report]", "[measure]\ncolour_term = false\n\n[report]");
    campaign.measure();
    const Outcome untransformed = campaign.run({"report", "--transformed-only", "--hold", "cloud"});
    CHECK(untransformed.status == 3);
    CHECK(untransformed.problem().find("It is not transformed") != std::string::npos);
    // A flag that the night has: taken from its own table.
    const std::string row = lines_of(campaign.run({"export"}).out).back();
    std::string flag = row.substr(row.rfind(',') + 1);
    flag = flag.substr(0, flag.find(';'));
    REQUIRE_FALSE(flag.empty());
    const Outcome held = campaign.run({"report", "--hold", flag});
    CHECK(held.status == 3);
    CHECK(held.problem().find("It is flagged " + flag) != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(campaign.path("out/report.txt")));
    CHECK(campaign.run({"report", "--hold", "moonshine"}).status == 2);
    // The same in campaign.toml; and another observer's code for the instrument.
    replace_once(campaign.path("campaign.toml"), "[report]", "[report]\nhold = [\"" + flag + "\"]");
    CHECK(campaign.run({"report"}).status == 3);
    replace_once(campaign.path("campaign.toml"), "hold = [\"" + flag + "\"]", "limits = true");
    replace_once(campaign.path("campaign.toml"), "[instrument]", "[instrument]\nobserver_code = \"ABC\"");
    CHECK(campaign.run({"report"}).status == 0);
    CHECK(contents(campaign.path("out/report.txt")).find("#OBSCODE=ABC\n") != std::string::npos);
}
