// SPDX-License-Identifier: MIT
// Catalogues of the field given to the program itself, good ones and bad ones.
#include <catch2/catch.hpp>

#include "faults/unsolved_frames.hpp"

using namespace emberline::testing;

namespace {

// No frame solved, and a sequence of three stars: all rests on the catalogue.
const Words by_catalogue = {"--nights", "1", "--drift-px", "14", "--clear",    "--no-flip",
                            "--stars",  "2", "--solved",   "0",  "--no-trails"};

struct FieldStar {
    double ra_deg = 0.0, dec_deg = 0.0, mag = 0.0;
};

std::vector<FieldStar> stars_of(const Rehearsed& campaign) {
    const auto lines = lines_of(contents(campaign.path("field.csv")));
    std::vector<FieldStar> stars;
    for (std::size_t i = 1; i < lines.size(); ++i) {
        FieldStar star;
        REQUIRE(std::sscanf(lines[i].c_str(), "%*[^,],%lf,%lf,%lf", &star.ra_deg, &star.dec_deg, &star.mag) ==
                3);
        stars.push_back(star);
    }
    REQUIRE(stars.size() > 20);
    return stars;
}

void solved_by(const Rehearsed& campaign, const std::string& table) {
    write_contents(campaign.path("field.csv"), table);
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 0);
    CHECK(outcome.out.find("matched with field.csv") != std::string::npos);
    const Rehearsed plain(by_catalogue);
    plain.measure();
    const auto expected = magnitudes(plain), found = magnitudes(campaign);
    REQUIRE(found.size() == 2);
    for (const auto& [frame, magnitude] : expected)
        CHECK(std::abs(found.at(frame) - magnitude) < alike_mag);
}

// Nothing measured, a reason for each frame, and `what` said somewhere.
void refused_by(const Rehearsed& campaign, const std::string& table, const std::string& what) {
    write_contents(campaign.path("field.csv"), table);
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 3);
    CHECK(outcome.out.starts_with("2 frames: 0 measured, 0 known already, 2 refused.\n"));
    CHECK(outcome.refused().size() == 2);
    CHECK(outcome.out.find("No plate solution was found") != std::string::npos);
    CHECK(outcome.out.find(what) != std::string::npos);
}

std::string table_of(const std::vector<FieldStar>& stars, const std::string& head, double per_degree = 1.0,
                     bool magnitudes_too = true) {
    std::string table = head + "\n";
    for (const FieldStar& star : stars) {
        table += fmt::format("{:.9f},{:.9f}", star.ra_deg * per_degree, star.dec_deg * per_degree);
        table += magnitudes_too ? fmt::format(",{:.2f}\n", star.mag) : std::string("\n");
    }
    return table;
}

}  // namespace

TEST_CASE("a catalogue without magnitudes serves", "[faults][unsolved]") {
    const Rehearsed campaign(by_catalogue);
    auto stars = stars_of(campaign);
    std::mt19937 random(noise_seed);
    std::shuffle(stars.begin(), stars.end(), random);
    solved_by(campaign, table_of(stars, "ra,dec", 1.0, false));
}

TEST_CASE("a catalogue in radians serves where it says so, and is no use where it does not",
          "[faults][unsolved]") {
    constexpr double radians_per_degree = 0.017453292519943295;
    const Rehearsed told(by_catalogue);
    solved_by(told, table_of(stars_of(told), "ra_rad,dec_rad,mag", radians_per_degree));
    const Rehearsed untold(by_catalogue);
    refused_by(untold, table_of(stars_of(untold), "ra,dec,mag", radians_per_degree), "none of its");
}

TEST_CASE("a catalogue of another epoch serves with its motions, and a wrong epoch is no use",
          "[faults][unsolved]") {
    // Invented motions of half an arcsecond a year; the catalogue's positions are those of 1950. Frames of
    // 2024: without the epoch every star stands 37″ from its place, each in another direction.
    constexpr double years = 2024.2 - 1950.0;
    const Rehearsed campaign(by_catalogue);
    std::mt19937 random(noise_seed);
    std::normal_distribution<double> motion(0.0, 350.0);  // mas a year
    std::string table = "ra,dec,pmra,pmdec,mag\n";
    for (const FieldStar& star : stars_of(campaign)) {
        const double east_mas = motion(random), north_mas = motion(random);
        const double cos_dec = std::cos(star.dec_deg * 3.14159265358979 / 180.0);
        table += fmt::format("{:.9f},{:.9f},{:.3f},{:.3f},{:.2f}\n",
                             star.ra_deg - years * east_mas / 3.6e6 / cos_dec,
                             star.dec_deg - years * north_mas / 3.6e6, east_mas, north_mas, star.mag);
    }
    const std::string settings = contents(campaign.path("campaign.toml"));
    const auto with_epoch = [&](const Rehearsed& one, const char* epoch) {
        std::string text = settings;
        const std::string key = "[plate]\n";
        text.insert(text.find(key) + key.size(), fmt::format("catalogue_epoch = {}\n", epoch));
        write_contents(one.path("campaign.toml"), text);
    };
    with_epoch(campaign, "1950.0");
    solved_by(campaign, table);
    const Rehearsed wrong(by_catalogue);
    with_epoch(wrong, "2024.2");
    refused_by(wrong, table, "field.csv (");
}

TEST_CASE("a catalogue of another field, an empty one and one that is none are of no use",
          "[faults][unsolved]") {
    const Rehearsed elsewhere(by_catalogue);
    auto stars = stars_of(elsewhere);
    for (FieldStar& star : stars)
        star.ra_deg -= 90.0;
    refused_by(elsewhere, table_of(stars, "ra,dec,mag"), "stars lies within 10° of the transient");
    refused_by(Rehearsed(by_catalogue), "ra,dec,mag\n", "none of its 0 stars");
    refused_by(Rehearsed(by_catalogue), "name,colour\nA,red\nB,blue\n", "It goes on without: ");
    refused_by(Rehearsed(by_catalogue), std::string("\x89PNG\r\n\x1a\n\0\0", 10), "It goes on without: ");
}
