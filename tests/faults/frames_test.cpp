// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <limits>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

constexpr std::size_t n_pixels = 300 * 300;

const Words plate_cards = {"CTYPE1", "CTYPE2", "CRVAL1", "CRVAL2", "CRPIX1", "CRPIX2",
                           "CUNIT1", "CUNIT2", "CD1_1",  "CD1_2",  "CD2_1",  "CD2_2"};

// One spoilt frame beside a good one: the good one is measured all the same, the spoilt one is refused in
// one line that names it, says what is wrong and, in a sentence of its own, what to do.
void refused_for(const std::string& name, const std::string& bytes, const std::string& what,
                 const std::string& to_do, const std::string& settings = {}) {
    INFO(name);
    const Rehearsed campaign;
    write_contents(campaign.path("campaign.toml"), contents(campaign.path("campaign.toml")) + settings);
    write_contents(campaign.first_frame(), bytes);
    const Outcome outcome = campaign.run({"measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 1);
    CHECK(outcome.err.empty());
    CHECK(outcome.out.starts_with("2 frames: 1 measured, 0 known already, 1 refused.\n"));
    const auto refused = outcome.refused();
    REQUIRE(refused.size() == 1);
    const std::string& line = refused.front();
    CHECK(line.starts_with("frames/2024-03-14/V_001.fits"));
    CHECK(line.find(what) != std::string::npos);
    CHECK(line.find(to_do) != std::string::npos);
    CHECK(line.ends_with('.'));
    const Outcome table = campaign.run({"export", "--level", "frame"});
    CHECK(lines_of(table.out).size() == 2);
    CHECK(table.out.find("V_002.fits") != std::string::npos);
}

std::string good_frame() {
    const Rehearsed campaign;
    return contents(campaign.first_frame());
}

std::string cards_set(std::string fits, const Words& keywords, const std::string& value) {
    for (const std::string& keyword : keywords)
        fits = with_card(std::move(fits), keyword, value);
    return fits;
}

// The same cards with 32-bit floating-point pixels, all of one value.
std::string float_frame(const std::string& fits, float value) {
    std::string changed = with_card(fits, "BITPIX", "                 -32");
    changed = with_card(changed, "BZERO", "                   0");
    return with_pixels(changed, pixels_of(std::vector<float>(n_pixels, value)));
}

std::string uniform_frame(const std::string& fits, short stored) {
    return with_pixels(fits, pixels_of(std::vector<short>(n_pixels, stored)));
}

// As a picture program saves it: stretched to 256 steps.
std::string eight_bit_frame(const std::string& fits) {
    std::string pixels;
    for (const short stored : shorts_of(fits, n_pixels)) {
        const int adu = stored + 32768;
        pixels += static_cast<char>(std::min(255, std::max(0, (adu - 500) / 8)));
    }
    std::string changed = with_card(fits, "BITPIX", "                   8");
    changed = with_card(changed, "BZERO", "                   0");
    return with_pixels(changed, pixels);
}

}  // namespace

TEST_CASE("files that are no FITS frame are refused beside a good frame", "[faults][frames]") {
    const std::string good = good_frame();
    refused_for("a picture of another kind", "\xff\xd8\xff\xe0 a picture", "not a FITS file", "Save");
    refused_for("a note", "clouds came in\n", "not a FITS file", "Name the frames");
    refused_for("an empty file", "", "The file is empty", "leave it out");
    refused_for("cut short in its header", good.substr(0, 2000), "cut short within its header",
                "leave it out");
    refused_for("cut short in its data", good.substr(0, 100000), "cut short: 100000 of ", "leave it out");
    refused_for("the start of a packed file and no more", std::string("\x1f\x8b", 2) + std::string(100, '\0'),
                "gzipped file is cut short or damaged", "Copy it again");
}

TEST_CASE("axes that are no picture are refused beside a good frame", "[faults][frames]") {
    const Words start = {"SIMPLE  =                    T", "BITPIX  =                   16"};
    const auto with_axes = [&](int axes, int side) {
        Words cards = start;
        cards.push_back(fmt::format("NAXIS   = {:20}", axes));
        std::size_t pixels = axes == 0 ? 0 : 1;
        for (int axis = 1; axis <= axes; ++axis) {
            cards.push_back(fmt::format("NAXIS{}  = {:20}", axis, side));
            pixels *= static_cast<std::size_t>(side);
        }
        return fits_of(cards, std::string(2 * pixels, '\0'));
    };
    refused_for("NAXIS 0", with_axes(0, 0), "holds no image (NAXIS = 0)", "Name the file");
    refused_for("NAXIS 1", with_axes(1, 1000), "no flat image, but 1 dimension", "Save one frame a file");
    refused_for("NAXIS 4", with_axes(4, 5), "no flat image, but 4 dimensions", "Save one frame a file");
    const std::string good = good_frame();
    refused_for("an axis of two thousand million", with_card(good, "NAXIS1", "          2000000000"),
                "2000000000", "save the frame again");
    refused_for("an axis below nothing", with_card(good, "NAXIS1", "                  -3"),
                "cannot be read as FITS", "Save the frame again");
    refused_for("17 bits a pixel", with_card(good, "BITPIX", "                  17"),
                "cannot be read as FITS", "Save the frame again");
}

TEST_CASE("a frame without a plate solution that serves is refused where none may be made",
          "[faults][frames]") {
    const std::string good = good_frame();
    const Words matrix = {"CD1_1", "CD1_2", "CD2_1", "CD2_2"};
    const auto refused_unsolved = [](const std::string& name, const std::string& bytes,
                                     const std::string& what, const std::string& to_do) {
        refused_for(name, bytes, what, to_do, "\n[plate]\nsolve = false\n");
    };
    refused_unsolved("no WCS", without_cards(good, plate_cards), "no plate solution",
                     "Solve the frame's plate");
    refused_unsolved("no scale", without_cards(good, matrix), "no scale", "Solve the frame's plate");
    refused_unsolved("a singular matrix", cards_set(good, matrix, "              0.0003"),
                     "matrix is singular", "Solve the frame's plate");
    refused_unsolved("a matrix of zeros", cards_set(good, matrix, "                 0.0"),
                     "matrix is singular", "Solve the frame's plate");
    refused_unsolved("another field", with_card(good, "CRVAL2", "                10.0"),
                     "lies off the frame. The frame is centred on 13:25:21 +10:00:0",
                     "Check the frame's plate solution");
    refused_unsolved(
        "the other side of the sky",
        with_card(with_card(good, "CRVAL1", "                21.3"), "CRVAL2", "               -37.3"),
        "The transient at 13:25:21.1 +37:16:12 lies off the frame", "Check the frame's plate solution");
}

TEST_CASE("a frame that does not say when, how long or through what is refused", "[faults][frames]") {
    const std::string good = good_frame();
    refused_for("no time", without_cards(good, {"DATE-OBS"}), "DATE-OBS", "Add DATE-OBS in UTC");
    refused_for("the year 1066", with_card(good, "DATE-OBS", "'1066-10-14T09:00:00'"),
                "'1066-10-14T09:00:00' is not used", "Add DATE-OBS in UTC");
    refused_for("month 13", with_card(good, "DATE-OBS", "'2024-13-45T25:61:00'"), "no month 13",
                "Add DATE-OBS in UTC");
    refused_for("a word for a time", with_card(good, "DATE-OBS", "'yesterday'"), "'yesterday'",
                "Add DATE-OBS in UTC");
    refused_for("a date without a time of day", with_card(good, "DATE-OBS", "'2024-03-15'"),
                "a date without a time of day", "Add DATE-OBS in UTC");
    refused_for("exposure 0", with_card(good, "EXPTIME", "                   0"), "EXPTIME = 0",
                "Add EXPTIME in seconds");
    refused_for("exposure below 0", with_card(good, "EXPTIME", "                 -60"), "EXPTIME = -60",
                "Add EXPTIME in seconds");
    refused_for("exposure missing", without_cards(good, {"EXPTIME"}),
                "keyword EXPTIME: ", "Add EXPTIME in seconds");
    refused_for("exposure in words", with_card(good, "EXPTIME", "'a minute'"), "'a minute'",
                "Add EXPTIME in seconds");
    refused_for("unknown filter", with_card(good, "FILTER", "'Quark'"), "The filter 'Quark' is not known",
                "bands = { \"Quark\" = \"V\" }");
    refused_for("no filter", without_cards(good, {"FILTER"}), "through which filter", "Add FILTER");
}

TEST_CASE("what the message about a filter tells to do makes the frame good", "[faults][frames]") {
    const Rehearsed campaign;
    write_contents(campaign.first_frame(), with_card(contents(campaign.first_frame()), "FILTER", "'Quark'"));
    CHECK(campaign.run({"measure"}).status == 1);
    replace_once(campaign.path("campaign.toml"), "aperture_mm", "bands = { \"Quark\" = \"V\" }\naperture_mm");
    const Outcome mended = campaign.run({"measure"});
    INFO(mended.out << mended.err);
    CHECK(mended.status == 0);
}

TEST_CASE("a frame whose pixels hold no light is refused", "[faults][frames]") {
    const std::string good = good_frame();
    constexpr float infinity = std::numeric_limits<float>::infinity();
    refused_for("all pixels equal", uniform_frame(good, -31768), "All pixels have one value, 1000 ADU",
                "leave it out");
    refused_for("all pixels NaN", float_frame(good, std::numeric_limits<float>::quiet_NaN()),
                "no defined pixel", "Save the frame again");
    refused_for("all pixels infinite", float_frame(good, infinity), "no defined pixel",
                "Save the frame again");
    refused_for("all pixels beyond any converter", float_frame(good, 1e38F), "The sky itself is saturated",
                "Expose for less time");
    refused_for("all pixels saturated", uniform_frame(good, 32767), "The sky itself is saturated",
                "Expose for less time");
    refused_for("an 8-bit picture", eight_bit_frame(good), "An 8-bit picture", "with 16 bits or more");
}

TEST_CASE("a night of bad frames only measures nothing, and says so of each", "[faults][frames]") {
    const Rehearsed campaign;
    write_contents(campaign.path("frames/2024-03-14/V_001.fits"), "");
    write_contents(campaign.path("frames/2024-03-14/V_002.fits"), "no frame");
    const Outcome outcome = campaign.run({"measure"});
    CHECK(outcome.status == 3);
    CHECK(outcome.err.empty());
    REQUIRE(outcome.refused().size() == 2);
    CHECK(outcome.refused()[0].find("V_001.fits") != std::string::npos);
    CHECK(outcome.refused()[1].find("V_002.fits") != std::string::npos);
    CHECK(campaign.run({"nights"}).status == 3);
}

TEST_CASE("frames refused for one reason are told once, and --json tells every one and where",
          "[faults][frames]") {
    const Rehearsed campaign;
    const std::string good = contents(campaign.first_frame());
    for (int i = 0; i < 24; ++i)
        write_contents(campaign.path(fmt::format("frames/bad_{:02}.fits", i)), "");
    write_contents(campaign.path("frames/unexposed.fits"), without_cards(good, {"EXPTIME"}));
    const Outcome told = campaign.run({"measure"});
    CHECK(told.status == 1);
    CHECK(told.out.starts_with("27 frames: 2 measured, 0 known already, 25 refused.\n"));
    REQUIRE(told.refused().size() == 2);
    CHECK(told.refused()[0].find("bad_00.fits and 23 more: The file is empty.") != std::string::npos);
    CHECK(told.refused()[1].find("unexposed.fits, keyword EXPTIME") != std::string::npos);
    const auto refused = campaign.run({"measure", "--json"}).json().at("refused");
    REQUIRE(refused.size() == 25);
    CHECK(refused.back().at("frame") == "frames/unexposed.fits");
    CHECK(refused.back().at("where") == campaign.path("frames/unexposed.fits") + ", keyword EXPTIME");
}

TEST_CASE("inspect finds the same faults, and ends as measure would", "[faults][frames]") {
    const Rehearsed campaign;
    const std::string good = contents(campaign.first_frame());
    CHECK(campaign.run({"inspect", campaign.path("frames")}).status == 0);
    for (const std::string& bad :
         {std::string(), without_cards(good, {"DATE-OBS"}), without_cards(good, {"FILTER"}),
          with_card(good, "CRVAL2", "10.0"), eight_bit_frame(good)}) {
        write_contents(campaign.first_frame(), bad);
        const Outcome alone = campaign.run({"inspect", campaign.first_frame()});
        INFO(alone.out << alone.err);
        CHECK(alone.status == 3);
        CHECK((alone.out.find("MISSING") != std::string::npos ||
               alone.out.find("PROBLEM") != std::string::npos));
        CHECK(campaign.run({"inspect", campaign.path("frames")}).status == 1);
    }
    // A plate solution can be made, unless the settings forbid it.
    write_contents(campaign.first_frame(), without_cards(good, plate_cards));
    const Outcome unsolved = campaign.run({"inspect", campaign.first_frame()});
    CHECK(unsolved.status == 0);
    CHECK(unsolved.out.find("makes one of the frame's own stars") != std::string::npos);
    write_contents(campaign.path("campaign.toml"),
                   contents(campaign.path("campaign.toml")) + "\n[plate]\nsolve = false\n");
    const Outcome forbidden = campaign.run({"inspect", campaign.first_frame()});
    CHECK(forbidden.status == 3);
    CHECK(forbidden.out.find("MISSING") != std::string::npos);
}

TEST_CASE("inspect tells the reasons that refuse most frames, and how many more there are",
          "[faults][frames]") {
    const Rehearsed campaign;
    const std::string good = contents(campaign.first_frame());
    for (const char letter : std::string("abcdefghijklmn")) {
        const std::string filter = fmt::format("'Moonlight {}'", letter);
        write_contents(campaign.path(fmt::format("frames/{}.fits", letter)),
                       with_card(good, "FILTER", filter));
    }
    for (int i = 0; i < 3; ++i)
        write_contents(campaign.path(fmt::format("frames/empty_{}.fits", i)), "");
    const Outcome told = campaign.run({"inspect"});
    INFO(told.out << told.err);
    CHECK(told.status == 1);
    const auto empty = told.out.find("The file is empty."), first = told.out.find("Moonlight a"),
               last_told = told.out.find("Moonlight k");
    CHECK(empty < first);
    CHECK(last_told != std::string::npos);
    CHECK(told.out.find("Moonlight l") == std::string::npos);
    CHECK(told.out.find("3 more frames cannot be measured for 3 other reasons.") != std::string::npos);
}
