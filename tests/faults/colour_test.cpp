// SPDX-License-Identifier: MIT
// Colour cameras whose frames are not what their header says, given to the program itself.
#include <fmt/format.h>

#include <catch2/catch.hpp>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

constexpr std::size_t n_pixels = 300 * 300;

// A clear night without a galaxy: what is asked is only what becomes of the frames.
const Words mosaic_options = {"--nights",   "1",       "--mosaic",    "RGGB",
                              "--top-down", "--clear", "--no-trails", "--no-host"};

std::string first_mosaic(const Rehearsed& campaign) {
    for (const auto& entry : std::filesystem::recursive_directory_iterator(campaign.path("frames"))) {
        if (entry.path().filename().string().ends_with("_001.fits")) return entry.path().string();
    }
    FAIL("the rehearsal wrote no frame");
    return {};
}

// `measure` refuses a frame in one line that says what is wrong and what to do.
void refused_for(const Rehearsed& campaign, const std::string& what, const std::string& to_do) {
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status != 0);
    CHECK(outcome.status <= 3);
    const auto refused = outcome.refused();
    REQUIRE_FALSE(refused.empty());
    for (const std::string& line : refused) {
        CHECK(line.find(what) != std::string::npos);
        CHECK(line.find(to_do) != std::string::npos);
        CHECK(line.ends_with('.'));
    }
}

void with_instrument(const Rehearsed& campaign, const std::string& setting) {
    replace_once(campaign.path("campaign.toml"), "[instrument]", "[instrument]\n" + setting + "\n#");
}

}  // namespace

TEST_CASE("an ordinary mosaic is measured in three bands, and inspect shows it", "[faults][colour]") {
    const Rehearsed campaign(mosaic_options);
    const Outcome measured = campaign.run({"measure", "--json"});
    INFO(measured.out << measured.err);
    CHECK(measured.status == 0);
    const Outcome inspected = campaign.run({"inspect", first_mosaic(campaign), "--json"});
    INFO(inspected.out << inspected.err);
    const auto frames = inspected.json()["files"][0]["frames"];
    REQUIRE(frames.size() == 3);
    const char* const bands[] = {"TR", "TG", "TB"};
    const char* const colours[] = {"red", "green", "blue"};
    for (std::size_t c = 0; c < 3; ++c) {
        CHECK(frames[c]["pattern"]["value"] == "RGGB");
        CHECK(frames[c]["pattern"]["source"] == "BAYERPAT");
        CHECK(frames[c]["band"]["value"] == bands[c]);
        CHECK(frames[c]["mosaic"]["colour"] == colours[c]);
        CHECK(frames[c]["mosaic"]["stored_width_px"] == 300);
    }
    const Outcome told = campaign.run({"inspect", first_mosaic(campaign)});
    CHECK(told.out.find("RGGB at the first of 300 × 300 pixels, the green ones, turned by 45°") !=
          std::string::npos);
}

TEST_CASE("a pattern that means nothing is refused with its keyword", "[faults][colour]") {
    const Rehearsed campaign(mosaic_options);
    const std::string path = first_mosaic(campaign);
    write_contents(path, with_card(contents(path), "BAYERPAT", "'PINK    '"));
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    const auto refused = outcome.refused();
    REQUIRE(refused.size() == 1);
    CHECK(refused[0].find("BAYERPAT is 'PINK'") != std::string::npos);
    CHECK(refused[0].find("pattern = \"RGGB\"") != std::string::npos);
    const Outcome inspected = campaign.run({"inspect", path});
    CHECK(inspected.status == 3);
    CHECK(inspected.out.find("BAYERPAT is 'PINK'") != std::string::npos);
    // What the observer says mends it.
    with_instrument(campaign, "pattern = \"RGGB\"");
    CHECK(campaign.run({"measure"}).status == 0);
}

TEST_CASE("a mosaic measured as one colour is refused", "[faults][colour]") {
    const Rehearsed campaign(mosaic_options);
    with_instrument(campaign, "pattern = \"none\"\nbands = { \"\" = \"V\" }");
    refused_for(campaign, "differs from pixel to pixel as in a colour mosaic: RGGB",
                "write pattern = \"RGGB\" under [instrument]");
}

TEST_CASE("a camera without colour measured as a mosaic is refused", "[faults][colour]") {
    const Rehearsed campaign(
        {"--nights", "1", "--clear", "--no-trails", "--band", "V", "--band", "B", "--band", "Rc"});
    with_instrument(campaign, "pattern = \"GRBG\"");
    refused_for(campaign, "the four phases of 2 × 2 pixels are all alike", "write pattern = \"none\"");
}

TEST_CASE("a pattern that the pixels contradict is refused, and the right one named", "[faults][colour]") {
    for (const char* wrong : {"BGGR", "GBRG", "GRBG"}) {
        INFO(wrong);
        const Rehearsed campaign(mosaic_options);
        with_instrument(campaign, fmt::format("pattern = \"{}\"", wrong));
        refused_for(campaign, fmt::format("The pattern is said to be {}", wrong), "RGGB");
    }
    const Rehearsed campaign(mosaic_options);
    with_instrument(campaign, "pattern = \"RGBG\"");
    const Outcome outcome = campaign.run({"measure"});
    CHECK(outcome.status == 2);
    CHECK(outcome.problem().find("'RGBG' is no pattern") != std::string::npos);
    CHECK(outcome.problem().find("none for a camera without colour") != std::string::npos);
}

TEST_CASE("cubes of two or four planes are refused", "[faults][colour]") {
    const Rehearsed campaign;
    const std::string good = contents(campaign.first_frame());
    for (const int planes : {2, 4}) {
        std::string pixels;
        for (int plane = 0; plane < planes; ++plane)
            pixels += pixels_of(shorts_of(good, n_pixels));
        std::string cube = with_card(good, "NAXIS", "                   3");
        // A third axis in place of a card that is not needed.
        const std::size_t place = cube.find("OBJECT  =");
        REQUIRE(place != std::string::npos);
        std::string card = fmt::format("NAXIS3  = {:>20}", planes);
        card.resize(card_bytes, ' ');
        const std::size_t after = cube.find("NAXIS2  =") + card_bytes;
        cube.erase(place, card_bytes);
        cube.insert(after, card);
        write_contents(campaign.first_frame(), with_pixels(cube, pixels));
        const Outcome outcome = campaign.run({"measure"});
        INFO(outcome.out << outcome.err);
        CHECK(outcome.status == 1);
        const auto refused = outcome.refused();
        REQUIRE(refused.size() == 1);
        CHECK(refused[0].find(fmt::format("a cube of {} planes", planes)) != std::string::npos);
        CHECK(refused[0].find("a cube of three planes: red, green, blue") != std::string::npos);
    }
}
