// SPDX-License-Identifier: MIT
// measure, measure --again, exclude and include: what they change, and what they leave as it was.
#include <catch2/catch.hpp>

#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

std::string all_tables(const Rehearsed& campaign) {
    return campaign.run({"export", "--level", "frame"}).out + campaign.run({"export"}).out;
}

// Set aside and taken back: the numbers change in between, and come back to the last digit.
void there_and_back(const Rehearsed& campaign, const std::string& word, const std::string& key) {
    INFO(word);
    const std::string before = all_tables(campaign);
    const Outcome excluded = campaign.run({"exclude", word, "--reason", "it looked odd"});
    INFO(excluded.out << excluded.err);
    CHECK(excluded.status == 0);
    CHECK(excluded.out.find(key + " is set aside.") != std::string::npos);
    CHECK(all_tables(campaign) != before);
    CHECK(campaign.run({"nights"}).out.find("Set aside: " + key + " (it looked odd)") != std::string::npos);
    // It stays so when the campaign is measured and solved again.
    const std::string without = all_tables(campaign);
    CHECK(campaign.run({"measure"}).status == 0);
    CHECK(campaign.run({"measure", "--again"}).status == 0);
    CHECK(all_tables(campaign) == without);
    const Outcome included = campaign.run({"include", word});
    CHECK(included.status == 0);
    CHECK(included.out.find(key + " counts again.") != std::string::npos);
    CHECK(all_tables(campaign) == before);
    const Outcome again = campaign.run({"include", word});
    CHECK(again.status == 0);
    CHECK(again.out.find("was not set aside; nothing changed") != std::string::npos);
}

}  // namespace

TEST_CASE("measuring the same frames twice changes nothing", "[command][measure]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    const std::string tables = all_tables(campaign);
    const Outcome again = campaign.run({"measure", "--json"});
    CHECK(again.status == 0);
    CHECK(again.json().at("known") == 4);
    CHECK(again.json().at("measured") == 0);
    CHECK(again.json().at("changed") == false);
    CHECK(all_tables(campaign) == tables);
    // Nor does another name for one of them.
    std::filesystem::copy(campaign.first_frame(), campaign.path("frames/copy.fits"));
    const Outcome copied = campaign.run({"measure", "--json"});
    CHECK(copied.status == 0);
    CHECK(copied.json().at("measured") == 0);
    CHECK(all_tables(campaign) == tables);
}

TEST_CASE("frames measured one by one, or with more threads, give the same tables", "[command][measure]") {
    const Rehearsed at_once({"--nights", "2"}), one_by_one({"--nights", "2"}), threaded({"--nights", "2"});
    at_once.measure();
    for (const auto& entry : std::filesystem::recursive_directory_iterator(one_by_one.path("frames"))) {
        if (entry.is_regular_file()) CHECK(one_by_one.run({"measure", entry.path().string()}).status == 0);
    }
    CHECK(threaded.run({"measure", "-j", "4"}).status == 0);
    CHECK(all_tables(one_by_one) == all_tables(at_once));
    CHECK(all_tables(threaded) == all_tables(at_once));
}

TEST_CASE("measure --again follows a revised sequence without the frames", "[command][measure]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    const std::string before = all_tables(campaign);
    std::filesystem::remove_all(campaign.path("frames"));
    const Outcome same = campaign.run({"measure", "--again", "--json"});
    CHECK(same.status == 0);
    CHECK(same.json().at("changed") == false);
    CHECK(all_tables(campaign) == before);
    const std::string sequence = contents(campaign.path("comparison.csv"));
    campaign.set_star(1, "V", "12.9");
    const Outcome revised = campaign.run({"measure", "--again", "--json"});
    CHECK(revised.status == 0);
    CHECK(revised.json().at("changed") == true);
    CHECK(all_tables(campaign) != before);
    write_contents(campaign.path("comparison.csv"), sequence);
    CHECK(campaign.run({"measure", "--again"}).status == 0);
    CHECK(all_tables(campaign) == before);
}

TEST_CASE("other settings supersede what was measured, and going back brings it back", "[command][measure]") {
    const Rehearsed campaign;
    campaign.measure();
    const std::string before = all_tables(campaign);
    const std::string settings = contents(campaign.path("campaign.toml"));
    replace_once(campaign.path("campaign.toml"), "[report]", "[measure]\naperture_arcsec = 6.0\n\n[report]");
    const Outcome with_other = campaign.run({"measure", "--json"});
    CHECK(with_other.status == 0);
    CHECK(with_other.json().at("superseding") == 2);
    CHECK(all_tables(campaign) != before);
    write_contents(campaign.path("campaign.toml"), settings);
    CHECK(campaign.run({"measure"}).status == 0);
    CHECK(all_tables(campaign) == before);
}

TEST_CASE("a frame, a night and a star are set aside and taken back", "[command][exclude]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    there_and_back(campaign, "frames/2024-03-14/V_001.fits", "frames/2024-03-14/V_001.fits");
    there_and_back(campaign, campaign.first_frame(), "frames/2024-03-14/V_001.fits");
    there_and_back(campaign, "2024-03-14", "2024-03-14");
    there_and_back(campaign, "first", "first");
}

TEST_CASE("with everything set aside nothing is left to report, and it all comes back",
          "[command][exclude]") {
    const Rehearsed campaign;
    campaign.measure();
    const std::string before = all_tables(campaign);
    CHECK(campaign.run({"exclude", "2024-03-14", "--reason", "haze"}).status == 0);
    for (const Words& words : {Words{"curve", "--no-picture"}, Words{"report"}})
        CHECK(campaign.run(words).status == 3);
    CHECK(campaign.run({"include", "2024-03-14"}).status == 0);
    CHECK(all_tables(campaign) == before);
}

TEST_CASE("a report is valid by its own check, and a spoilt one is refused by line", "[command][report]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    CHECK(campaign.run({"report"}).status == 0);
    const std::string report = campaign.path("out/report.txt");
    CHECK(campaign.run({"report", "--check", report}).status == 0);
    replace_once(report, "#OBSCODE=XYZ", "#OBSCODE=");
    const Outcome spoilt = campaign.run({"report", "--check", report});
    CHECK(spoilt.status == 1);
    CHECK(spoilt.out.find("line ") == 0);
    CHECK(spoilt.out.find("OBSCODE") != std::string::npos);
}
