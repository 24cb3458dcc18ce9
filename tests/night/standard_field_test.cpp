// SPDX-License-Identifier: MIT
#include "night/standard_field.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <set>
#include <string>

#include "rehearsal/rehearse.hpp"

using namespace emberline;

TEST_CASE("a field without a transient gives the instrument's colour term", "[transformation]") {
    const auto folder = std::filesystem::temp_directory_path() / "emberline_standard_field_test";
    std::filesystem::remove_all(folder);
    rehearsal::RehearsalOptions options;
    options.nights = 1;
    options.frames = 3;
    options.comparison_stars = 24;
    options.bands = {"V"};
    options.host = false;
    options.cloud = false;
    options.trailing = false;
    options.colour_term = -0.08;
    const auto made = rehearsal::rehearse(folder.string(), options, [](std::size_t, std::size_t) {});
    REQUIRE(made);
    const auto campaign = night::read_campaign(folder.string());
    REQUIRE(campaign);
    const auto sequence = standard::read_sequence((folder / "comparison.csv").string());
    REQUIRE(sequence);
    std::vector<photometry::FrameFluxes> frames;
    for (const auto& file : std::filesystem::recursive_directory_iterator(folder / "frames")) {
        if (file.path().extension() != ".fits") continue;
        const auto opened = frame::open_frames(file.path().string(), campaign->instruments);
        REQUIRE(opened);
        auto fluxes = night::measure_field(opened->front(), file.path().filename().string(),
                                           file.path().string(), *sequence, *campaign);
        REQUIRE(fluxes);
        frames.push_back(std::move(*fluxes));
        if (frames.size() == 4) break;
    }
    REQUIRE(frames.size() >= 2);
    std::set<std::string> usable;
    for (const auto& star : sequence->stars)
        usable.insert(star.label);
    const auto found = night::find_transformations(frames, *sequence, usable, *campaign);
    REQUIRE(found.bands.size() == 1);
    const auto& term = found.bands[0].found.colour_term;
    INFO(found.bands[0].found.no_colour_term);
    REQUIRE(term);
    CAPTURE(term->value, term->err);
    CHECK(std::abs(term->value - options.colour_term) < 3.0 * term->err);
    CHECK(term->err < 0.06);
    std::filesystem::remove_all(folder);
}
