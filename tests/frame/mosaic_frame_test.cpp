// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "frame/colour_pattern.hpp"
#include "frame/fits_maker.hpp"
#include "frame/frame.hpp"
#include "frame/write_frame.hpp"

using namespace emberline;
using namespace emberline::frame;

namespace {

constexpr const char* words[] = {"RGGB", "BGGR", "GRBG", "GBRG"};

Card text_card(const std::string& keyword, const std::string& value) {
    return {keyword, value, "", true};
}

// Pixel (x, y) holds its own number.
std::uint16_t number_of(int x, int y, int width) {
    return static_cast<std::uint16_t>(1000 + y * width + x);
}

std::string write_mosaic(const testing::Folder& folder, const std::string& name, int width, int height,
                         const std::string& pattern, Packing packing = Packing::plain) {
    std::vector<std::uint16_t> adu;
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x)
            adu.push_back(number_of(x, y, width));
    }
    std::vector<Card> cards{text_card("BAYERPAT", pattern),  text_card("DATE-OBS", "2024-03-14T21:00:00"),
                            {"EXPTIME", "30.0", "", false},  text_card("CTYPE1", "RA---TAN"),
                            text_card("CTYPE2", "DEC--TAN"), {"CRVAL1", "100.0", "", false},
                            {"CRVAL2", "20.0", "", false},   {"CRPIX1", "20.5", "", false},
                            {"CRPIX2", "11.0", "", false},   {"CD1_1", "-0.0005", "", false},
                            {"CD1_2", "0.0", "", false},     {"CD2_1", "0.0", "", false},
                            {"CD2_2", "0.0005", "", false}};
    const auto written = write_frame(folder.path(name), width, height, adu, cards, packing);
    REQUIRE(written);
    return folder.path(name);
}

std::vector<Frame> opened(const std::string& path, const std::vector<Instrument>& instruments = {}) {
    auto frames = open_frames(path, instruments);
    if (!frames) FAIL(one_line(frames.error()));
    return std::move(*frames);
}

}  // namespace

TEST_CASE("a mosaic opens as three frames that share its stored pixels", "[mosaic]") {
    const testing::Folder folder;
    for (const auto& [width, height] :
         {std::pair(40, 22), std::pair(41, 23), std::pair(40, 23), std::pair(3, 2)}) {
        for (const char* word : words) {
            INFO(word << ' ' << width << " × " << height);
            const auto frames = opened(write_mosaic(folder, "m.fits", width, height, word));
            REQUIRE(frames.size() == 3);
            std::vector<int> seen(static_cast<std::size_t>(width * height));
            constexpr const char* bands[] = {"TR", "TG", "TB"};
            for (std::size_t c = 0; c < 3; ++c) {
                const FrameFacts& facts = frames[c].facts();
                CHECK(facts.plane == static_cast<int>(c));
                CHECK(facts.planes == 3);
                CHECK(facts.pattern->value == word);
                CHECK(facts.pattern->source == "BAYERPAT");
                CHECK(facts.band->value.name() == bands[c]);
                REQUIRE(facts.lattice);
                CHECK((facts.lattice->stored_width_px == width && facts.lattice->stored_height_px == height));
                const auto whole = frames[c].read_whole();
                REQUIRE(whole);
                CHECK((whole->box == PixelBox{0, 0, facts.width_px, facts.height_px}));
                for (int j = 0; j < facts.height_px; ++j) {
                    for (int i = 0; i < facts.width_px; ++i) {
                        const float v = whole->at(i, j);
                        CHECK(std::isnan(v) == !facts.lattice->holds(i, j));
                        if (std::isnan(v)) continue;
                        const int number = static_cast<int>(v) - 1000;
                        const PixelPosition s = facts.lattice->stored({1.0 * i, 1.0 * j});
                        CHECK((s.x == number % width && s.y == number / width));
                        CHECK(parse_colour_pattern(word)->at(number % width, number / width) ==
                              static_cast<Colour>(c));
                        ++seen[static_cast<std::size_t>(number)];
                    }
                }
            }
            CHECK(std::all_of(seen.begin(), seen.end(), [](int n) { return n == 1; }));
        }
    }
}

TEST_CASE("boxes of a mosaic's pictures are parts of the whole, packed or not", "[mosaic]") {
    const testing::Folder folder;
    const auto plain = opened(write_mosaic(folder, "plain.fits", 41, 32, "GRBG"));
    const auto packed = opened(write_mosaic(folder, "packed.fits", 41, 32, "GRBG", Packing::tiles));
    CHECK(packed[0].facts().tile_compressed);
    for (std::size_t c = 0; c < 3; ++c) {
        const FrameFacts& facts = plain[c].facts();
        const auto whole = plain[c].read_whole();
        REQUIRE(whole);
        const int w = facts.width_px, h = facts.height_px;
        const std::vector<PixelBox> boxes{{w / 2, h / 2, 5, 4},
                                          {w / 2 - 3, h - 5, 9, 9},
                                          {3, h / 3, 6, 1},
                                          {w / 2, -4, 7, 14},
                                          {-3, h / 2, 12, 3}};
        for (const auto* frames : {&plain, &packed}) {
            const auto cutouts = (*frames)[c].read(boxes);
            REQUIRE(cutouts);
            for (std::size_t b = 0; b < boxes.size(); ++b) {
                INFO("colour " << c << ", box " << b);
                CHECK((*cutouts)[b].box == boxes[b].inside(w, h));
                const PixelBox& box = (*cutouts)[b].box;
                REQUIRE((*cutouts)[b].adu.size() == static_cast<std::size_t>(box.width * box.height));
                for (int y = box.y0; y < box.y0 + box.height; ++y) {
                    for (int x = box.x0; x < box.x0 + box.width; ++x) {
                        const float a = (*cutouts)[b].at(x, y), expected = whole->at(x, y);
                        CHECK((a == expected || (std::isnan(a) && std::isnan(expected))));
                    }
                }
            }
        }
        CHECK_FALSE(plain[c].read(PixelBox{w, 0, 4, 4}));
        CHECK_FALSE(plain[c].read(PixelBox{2000000000, 2000000000, 4, 4}));
    }
    // A corner of the turned picture lies off the stored frame altogether.
    const auto corner = plain[1].read(PixelBox{0, 0, 2, 2});
    REQUIRE_FALSE(corner);
    CHECK(corner.error().what.find("outside") != std::string::npos);
}

TEST_CASE("stored pixels are read whatever their colour", "[mosaic]") {
    const testing::Folder folder;
    for (const Packing packing : {Packing::plain, Packing::tiles}) {
        const auto frames = opened(write_mosaic(folder, "m.fits", 30, 20, "BGGR", packing));
        for (const Frame& frame : frames) {
            const auto cutouts = frame.read_stored({{4, 5, 3, 2}, {28, 18, 9, 9}, {50, 50, 3, 3}});
            REQUIRE(cutouts);
            for (int y = 5; y < 7; ++y) {
                for (int x = 4; x < 7; ++x)
                    CHECK((*cutouts)[0].at(x, y) == static_cast<float>(number_of(x, y, 30)));
            }
            CHECK((*cutouts)[1].box == PixelBox{28, 18, 2, 2});
            CHECK((*cutouts)[1].at(29, 19) == static_cast<float>(number_of(29, 19, 30)));
            CHECK((*cutouts)[2].box.empty());
        }
    }
}

TEST_CASE("each colour has its own plate solution, and the frame's middle is one place", "[mosaic]") {
    const testing::Folder folder;
    const auto frames = opened(write_mosaic(folder, "m.fits", 40, 22, "RGGB"));
    std::optional<SkyPosition> first;
    for (const Frame& frame : frames) {
        REQUIRE(frame.wcs());
        const Wcs& wcs = *frame.wcs();
        const FrameFacts& facts = frame.facts();
        CHECK(wcs.scale_arcsec_per_px() == Approx(1.8 * facts.lattice->pitch_px()).epsilon(1e-9));
        CHECK_FALSE(wcs.mirrored());
        // North is along the stored +y. Along the green picture's +y, (−1, 1), lies the north-east.
        CHECK(wcs.position_angle_of_y().degrees() == Approx(facts.plane == 1 ? 45.0 : 0.0).margin(1e-9));
        const auto middle = wcs.sky(facts.middle());
        REQUIRE(middle);
        if (!first) first = *middle;
        CHECK(separation(*middle, *first).arcseconds() < 1e-6);
        CHECK(facts.holds(facts.middle()));
        CHECK_FALSE(facts.holds({-100.0, 0.0}));
    }
    // The turned picture's corner is no place of the frame.
    CHECK_FALSE(frames[1].facts().holds({0.0, 0.0}));
}

TEST_CASE("the campaign names a mosaic's bands and its pattern", "[mosaic]") {
    const testing::Folder folder;
    const std::string path = write_mosaic(folder, "m.fits", 40, 22, "RGGB");
    Instrument instrument;
    instrument.bands = {{"Green", "V"}};
    const auto named = opened(path, {instrument});
    CHECK(named[0].facts().band->value.name() == "TR");
    CHECK(named[1].facts().band->value.name() == "V");
    CHECK(named[2].facts().band->value.name() == "TB");
    instrument.pattern = "none";
    const auto mono = opened(path, {instrument});
    REQUIRE(mono.size() == 1);
    CHECK_FALSE(mono[0].facts().lattice);
    CHECK_FALSE(mono[0].facts().pattern);
    CHECK(mono[0].facts().width_px == 40);
    instrument.pattern = "BGGR";
    instrument.match = {{"EXPTIME", "30"}};
    const auto other = opened(path, {instrument});
    REQUIRE(other.size() == 3);
    CHECK(other[0].facts().pattern->value == "BGGR");
    CHECK(other[0].facts().lattice->x0 == 1);
}

TEST_CASE("a file whose pattern means nothing is a problem, named with the file", "[mosaic]") {
    const testing::Folder folder;
    const std::string path = write_mosaic(folder, "m.fits", 40, 22, "PINK");
    const auto frames = open_frames(path, {});
    REQUIRE_FALSE(frames);
    CHECK(frames.error().where.find("m.fits") != std::string::npos);
    CHECK(frames.error().where.find("BAYERPAT") != std::string::npos);
}

// The header of a real stack of a colour camera: three planes, and BAYERPAT left over.
TEST_CASE("a debayered cube that still carries a pattern is a cube", "[mosaic][cube]") {
    const testing::Folder folder;
    const auto cube = [&](int planes) {
        return testing::header_block({"SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 3", "NAXIS1  = 6",
                                      "NAXIS2  = 4", fmt::format("NAXIS3  = {}", planes),
                                      "FILTER  = 'IRCUT   '", "STACKCNT= 187", "BAYERPAT= 'GRBG    '"}) +
               testing::data_block(std::string(static_cast<std::size_t>(6 * 4 * 2 * planes), '\1'));
    };
    const auto frames = opened(folder.file("cube.fits", cube(3)));
    REQUIRE(frames.size() == 3);
    for (const Frame& frame : frames) {
        CHECK_FALSE(frame.facts().lattice);
        CHECK_FALSE(frame.facts().pattern);
        CHECK(frame.facts().width_px == 6);
    }
    CHECK(frames[1].facts().band->value.name() == "TG");
    CHECK(frames[1].facts().band->source == "plane 2 of a colour cube");
    // One plane is a mosaic still; two or four say nothing about which is which.
    CHECK(opened(folder.file("one.fits", cube(1))).front().facts().pattern->value == "GRBG");
    for (const int planes : {2, 4}) {
        const auto none = open_frames(folder.file("cube.fits", cube(planes)), {});
        REQUIRE_FALSE(none);
        CHECK(none.error().what.find(fmt::format("a cube of {} planes", planes)) != std::string::npos);
        CHECK(none.error().mend.find("red, green, blue") != std::string::npos);
    }
}
