// SPDX-License-Identifier: MIT
#include "picture/frame_pyramid.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <future>
#include <limits>

#include "frame/write_frame.hpp"
#include "numerics/random.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using emberline::test::TemporaryFolder;
using picture::FramePyramid;

namespace {

constexpr float undefined = std::numeric_limits<float>::quiet_NaN();

// A sky of 700 ADU with noise of 8 ADU, a bright star, and what else is asked for.
std::vector<float> invented(int width, int height, double noise_adu = 8.0) {
    numerics::Random random(static_cast<std::uint64_t>(width) * 100003 + static_cast<std::uint64_t>(height));
    std::vector<float> adu;
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            const double r2 = std::pow(x - 0.6 * width, 2) + std::pow(y - 0.4 * height, 2);
            adu.push_back(
                static_cast<float>(700.0 + random.gaussian(0.0, noise_adu) + 5.0e4 * std::exp(-r2 / 8.0)));
        }
    }
    return adu;
}

std::vector<std::uint16_t> rounded(const std::vector<float>& adu) {
    std::vector<std::uint16_t> out;
    for (const float v : adu)
        out.push_back(static_cast<std::uint16_t>(std::lround(std::clamp(v, 0.0F, 65535.0F))));
    return out;
}

frame::Frame opened(const std::string& path, std::size_t plane = 0) {
    const auto frames = frame::open_frames(path, {});
    if (!frames) FAIL(one_line(frames.error()));
    REQUIRE(plane < frames->size());
    return (*frames)[plane];
}

FramePyramid pyramid_of(const std::string& path, std::size_t plane = 0) {
    auto made = FramePyramid::of(opened(path, plane));
    if (!made) FAIL(one_line(made.error()));
    return std::move(*made);
}

// All tiles of a level laid together.
std::vector<std::uint8_t> assembled(const FramePyramid& pyramid, int level) {
    const picture::PyramidLevel& of = pyramid.levels()[static_cast<std::size_t>(level)];
    std::vector<std::uint8_t> all(static_cast<std::size_t>(of.width_px) *
                                  static_cast<std::size_t>(of.height_px));
    for (int row = 0; row < of.rows; ++row) {
        for (int column = 0; column < of.columns; ++column) {
            const auto tile = pyramid.tile(level, column, row);
            if (!tile) FAIL(one_line(tile.error()));
            REQUIRE(tile->width == std::min(256, of.width_px - 256 * column));
            REQUIRE(tile->height == std::min(256, of.height_px - 256 * row));
            for (int y = 0; y < tile->height; ++y) {
                for (int x = 0; x < tile->width; ++x)
                    all[static_cast<std::size_t>(256 * row + y) * static_cast<std::size_t>(of.width_px) +
                        static_cast<std::size_t>(256 * column + x)] =
                        tile->grey[static_cast<std::size_t>(y * tile->width + x)];
            }
        }
    }
    return all;
}

struct Mean {
    double sum = 0.0;
    int count = 0;
};

// Every level against plain means of the frame's pixels, taken one by one. Returns how many pixels of the
// levels were compared; checks stand behind one another only where one fails.
int compare(const FramePyramid& pyramid, const frame::Cutout& whole) {
    int compared = 0;
    for (const picture::PyramidLevel& of : pyramid.levels()) {
        CAPTURE(of.level, of.width_px, of.height_px);
        const int side = 1 << of.level;
        REQUIRE(of.width_px == (whole.box.width + side - 1) / side);
        REQUIRE(of.height_px == (whole.box.height + side - 1) / side);
        std::vector<Mean> means(static_cast<std::size_t>(of.width_px) *
                                static_cast<std::size_t>(of.height_px));
        for (int y = 0; y < whole.box.height; ++y) {
            for (int x = 0; x < whole.box.width; ++x) {
                const float value = whole.at(x, y);
                if (std::isnan(value)) continue;
                Mean& mean =
                    means[static_cast<std::size_t>(y / side) * static_cast<std::size_t>(of.width_px) +
                          static_cast<std::size_t>(x / side)];
                mean.sum += static_cast<double>(value);
                ++mean.count;
            }
        }
        const auto greys = assembled(pyramid, of.level);
        int wrong = 0;
        for (std::size_t k = 0; k < means.size(); ++k) {
            if (means[k].count == 0) {
                wrong += greys[k] == 0 ? 0 : 1;
                continue;
            }
            const double mean = means[k].sum / means[k].count;
            // Sums in single precision: a few parts in ten million of the value.
            const double most = pyramid.scale().most_error_adu(mean) * 1.001 + 1e-6 * std::abs(mean);
            const bool good = greys[k] != 0 && std::abs(pyramid.scale().value_adu(greys[k]) - mean) <= most;
            wrong += good ? 0 : 1;
        }
        CHECK(wrong == 0);
        compared += static_cast<int>(means.size());
    }
    return compared;
}

}  // namespace

TEST_CASE("every level is the plain mean of the frame, at every size", "[frame-pyramid]") {
    const TemporaryFolder folder;
    const std::vector<std::pair<int, int>> sizes = {{1, 1},     {1, 700},   {700, 1},  {3, 2},
                                                    {256, 256}, {257, 256}, {511, 90}, {513, 700},
                                                    {1024, 33}, {70001, 2}, {9001, 31}};
    for (const auto& [width, height] : sizes) {
        CAPTURE(width, height);
        auto adu = invented(width, height);
        // Undefined: a bad column, every seventeenth pixel of a row, and some whole blocks.
        for (int y = 0; y < height && width > 2; ++y)
            adu[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) + 2] = undefined;
        for (int x = 0; x < width && height > 1; x += 17)
            adu[static_cast<std::size_t>(width + x)] = undefined;
        for (int y = 8; y < std::min(40, height); ++y) {
            for (int x = 8; x < std::min(40, width); ++x)
                adu[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                    static_cast<std::size_t>(x)] = undefined;
        }
        const std::string path = folder / "f.fits";
        REQUIRE(frame::write_frame(path, width, height, std::span<const float>(adu), {}));
        const FramePyramid pyramid = pyramid_of(path);
        const auto& levels = pyramid.levels();
        CHECK((levels.back().columns == 1 && levels.back().rows == 1));
        CHECK((levels.size() == 1 || levels[levels.size() - 2].columns * levels[levels.size() - 2].rows > 1));
        const frame::Cutout whole{{0, 0, width, height}, adu};
        CHECK(compare(pyramid, whole) >= width * height);
    }
}

TEST_CASE("the same pixels give the same greys however the file is packed", "[frame-pyramid]") {
    const TemporaryFolder folder;
    const auto adu = rounded(invented(900, 610));
    REQUIRE(frame::write_frame(folder / "plain.fits", 900, 610, adu, {}));
    REQUIRE(frame::write_frame(folder / "tiles.fits", 900, 610, adu, {}, frame::Packing::tiles));
    const std::string command = "gzip -k " + (folder / "plain.fits");
    REQUIRE(std::system(command.c_str()) == 0);
    const FramePyramid plain = pyramid_of(folder / "plain.fits");
    for (const char* name : {"tiles.fits", "plain.fits.gz"}) {
        CAPTURE(name);
        const FramePyramid packed = pyramid_of(folder / name);
        CHECK(packed.scale() == plain.scale());
        REQUIRE(packed.levels() == plain.levels());
        for (const picture::PyramidLevel& of : plain.levels())
            CHECK(assembled(packed, of.level) == assembled(plain, of.level));
    }
    CHECK(plain.bytes() == 450 * 305 + 225 * 153);
}

TEST_CASE("the colours of a mosaic are pyramids of their own pixels, green's corners empty",
          "[frame-pyramid]") {
    const TemporaryFolder folder;
    const int width = 1110, height = 802;
    auto adu = rounded(invented(width, height));
    // Red brighter than green, green brighter than blue, so that a pixel of another colour would be seen.
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            auto& value = adu[static_cast<std::size_t>(y * width + x)];
            value = static_cast<std::uint16_t>(std::min(65535, value + 400 * (2 - (x & 1) - (y & 1))));
        }
    }
    REQUIRE(frame::write_frame(folder / "m.fits", width, height, adu, {{"BAYERPAT", "'RGGB'", ""}}));
    for (const std::size_t plane : {0U, 1U, 2U}) {
        CAPTURE(plane);
        const frame::Frame frame = opened(folder / "m.fits", plane);
        const auto whole = frame.read_whole();
        REQUIRE(whole);
        const FramePyramid pyramid = pyramid_of(folder / "m.fits", plane);
        CHECK(compare(pyramid, *whole) > frame.facts().width_px * frame.facts().height_px);
        CHECK(frame.facts().lattice->turned() == (plane == 1));
        CHECK((pyramid.tile(0, 0, 0)->grey.front() == 0) == (plane == 1));
    }
}

TEST_CASE("greys resolve the sky's noise and hold the brightest pixel, with integer pixels too",
          "[frame-pyramid]") {
    const TemporaryFolder folder;
    for (const double noise : {0.45, 1.0, 8.0, 60.0}) {
        CAPTURE(noise);
        auto adu = rounded(invented(640, 480, noise));
        adu[1000] = 65535;
        adu[2000] = 0;  // a dead pixel
        REQUIRE(frame::write_frame(folder / "f.fits", 640, 480, adu, {}));
        const FramePyramid pyramid = pyramid_of(folder / "f.fits");
        const picture::GreyScale& scale = pyramid.scale();
        CHECK(scale.sky_adu == Approx(700.0).margin(0.05 * std::max(1.0, noise)));
        // Rounding to whole ADU adds its own 1/√12.
        CHECK(scale.noise_adu == Approx(std::hypot(noise, 0.2887)).epsilon(0.06));
        CHECK(1.0 / scale.step >= 12.0);
        CHECK(1.0 / scale.step <= 20.0);
        CHECK(scale.value_adu(255) > 65535.0 - 1e-6);
        CHECK(scale.value_adu(1) <= 700.0 - 5.0 * noise);
        CHECK(pyramid.black_adu() < 700.0);
        CHECK(pyramid.white_adu() > 700.0 + 15.0 * noise);
    }
    // All pixels alike, and one that no camera gives.
    REQUIRE(frame::write_frame(folder / "flat.fits", 300, 300, std::vector<std::uint16_t>(90000, 321), {}));
    const FramePyramid flat = pyramid_of(folder / "flat.fits");
    CHECK(compare(flat, {{0, 0, 300, 300}, std::vector<float>(90000, 321.0F)}) > 90000);
    auto wild = invented(300, 300);
    wild[5] = 3.0e38F;
    wild[6] = -3.0e38F;
    REQUIRE(frame::write_frame(folder / "wild.fits", 300, 300, std::span<const float>(wild), {}));
    const FramePyramid wilder = pyramid_of(folder / "wild.fits");
    const auto greys = assembled(wilder, 0);
    CHECK(greys[5] == 255);
    CHECK(greys[6] == 1);
    CHECK(wilder.scale().noise_adu == Approx(8.0).epsilon(0.05));
    CHECK(wilder.scale().value_adu(greys[70]) ==
          Approx(static_cast<double>(wild[70])).margin(8.0 / 12.0 * 3.0));
}

TEST_CASE("the fast grey is the nearest grey", "[frame-pyramid]") {
    const auto scale = picture::GreyScale::of(1234.5, 7.25, 0.0, 65535.0);
    const picture::GreyCoder grey(scale);
    numerics::Random random(17);
    int wrong = 0;
    for (int k = 0; k < 200000; ++k) {
        // Evenly over the scale, and some beyond both its ends.
        const double at = scale.low + scale.step * random.uniform(-4.0, 259.0);
        const auto adu = static_cast<float>(scale.sky_adu + scale.noise_adu * std::sinh(at));
        const double exact =
            (std::asinh((static_cast<double>(adu) - scale.sky_adu) / scale.noise_adu) - scale.low) /
            scale.step;
        const double nearest = std::clamp(exact, 1.0, 255.0);
        // Values halfway between two greys may go either way by the last digit of a float.
        wrong += std::abs(grey(adu) - nearest) <= 0.5 + 0.01 ? 0 : 1;
    }
    CHECK(wrong == 0);
    CHECK(grey(undefined) == 0);
    CHECK(grey(std::numeric_limits<float>::infinity()) == 0);
    CHECK(grey(std::numeric_limits<float>::max()) == 255);
    CHECK(grey(-std::numeric_limits<float>::max()) == 1);
}

TEST_CASE("tiles that are not there, and frames that cannot be read, are told of", "[frame-pyramid]") {
    const TemporaryFolder folder;
    const auto adu = rounded(invented(600, 300));
    REQUIRE(frame::write_frame(folder / "f.fits", 600, 300, adu, {}));
    const FramePyramid pyramid = pyramid_of(folder / "f.fits");
    REQUIRE(pyramid.levels().size() == 3);
    for (const auto& [level, column, row] : {std::array{-1, 0, 0},
                                             {3, 0, 0},
                                             {0, 3, 0},
                                             {0, 0, 2},
                                             {1, 2, 0},
                                             {2, 0, 1},
                                             {0, -1, 0},
                                             {1, 0, -1}}) {
        const auto tile = pyramid.tile(level, column, row);
        REQUIRE(!tile);
        CHECK(tile.error().kind == ProblemKind::request);
        CHECK(!tile.error().mend.empty());
    }
    // Cut short after it was opened: what was made of it stays, its pixels are gone.
    std::filesystem::resize_file(folder / "f.fits", 2880 + 600);
    CHECK(pyramid.tile(1, 0, 0).has_value());
    CHECK(!pyramid.tile(0, 0, 1).has_value());
    CHECK(!frame::open_frames(folder / "f.fits", {}).has_value());

    const std::vector<float> none(400, undefined);
    REQUIRE(frame::write_frame(folder / "none.fits", 20, 20, std::span<const float>(none), {}));
    const auto empty = FramePyramid::of(opened(folder / "none.fits"));
    REQUIRE(!empty);
    CHECK(!empty.error().mend.empty());
}

TEST_CASE("many threads may ask for tiles of one frame", "[frame-pyramid]") {
    const TemporaryFolder folder;
    REQUIRE(frame::write_frame(folder / "f.fits", 700, 700, rounded(invented(700, 700)), {},
                               frame::Packing::tiles));
    const FramePyramid pyramid = pyramid_of(folder / "f.fits");
    const auto expected = assembled(pyramid, 0);
    std::vector<std::future<std::vector<picture::GreyPicture>>> asked;
    for (int i = 0; i < 4; ++i) {
        asked.push_back(std::async(std::launch::async, [&] {
            std::vector<picture::GreyPicture> tiles;
            for (int t = 0; t < 9; ++t)
                tiles.push_back(pyramid.tile(0, t % 3, t / 3).value());
            return tiles;
        }));
    }
    for (auto& one : asked) {
        const auto tiles = one.get();
        for (std::size_t t = 0; t < tiles.size(); ++t) {
            const std::size_t at = (t / 3) * 256 * 700 + (t % 3) * 256;
            CHECK(std::equal(tiles[t].grey.begin(), tiles[t].grey.begin() + tiles[t].width,
                             expected.begin() + static_cast<std::ptrdiff_t>(at)));
        }
    }
}
