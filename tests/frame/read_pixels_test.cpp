// SPDX-License-Identifier: MIT
#include <fitsio.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <thread>

#include "frame/fits_maker.hpp"
#include "frame/frame.hpp"
#include "frame/gzipped.hpp"
#include "frame/write_frame.hpp"

using namespace emberline::frame;
using testing::data_block;
using testing::Folder;
using testing::gzipped;
using testing::header_block;
using testing::Written;
using testing::written_height;
using testing::written_width;

namespace {

const float undefined = std::numeric_limits<float>::quiet_NaN();

bool same(float a, float b) {
    return a == b || (std::isnan(a) && std::isnan(b));
}

std::vector<Frame> open_good(const std::string& path) {
    auto frames = open_frames(path, {});
    if (!frames) FAIL(emberline::one_line(frames.error()));
    return *frames;
}

Cutout whole(const std::string& path) {
    auto pixels = open_good(path).front().read_whole();
    if (!pixels) FAIL(emberline::one_line(pixels.error()));
    return *pixels;
}

std::string sample(const std::string& name) {
    return std::string(EMBERLINE_TEST_DATA) + "/frame/samples/" + name;
}

// An image of 3 × 2 pixels by hand, independent of any library.
template <class Bits>
std::string small_image(int bits, const std::vector<Bits>& stored,
                        const std::vector<std::string>& more = {}) {
    std::vector<std::string> lines = {"SIMPLE  = T", "BITPIX  = " + std::to_string(bits), "NAXIS   = 2",
                                      "NAXIS1  = 3", "NAXIS2  = 2"};
    lines.insert(lines.end(), more.begin(), more.end());
    return header_block(lines) + data_block(testing::big_endian(stored));
}

// The tolerance of each kind: exact, but for floats that Rice quantises (a 64th of the noise, which is below
// 40).
double tolerance(const Written& w) {
    return w.packing == testing::Packing::rice && w.type < 0 ? 40.0 / 64.0 : 0.0;
}

void check_written(const std::string& path, const Written& w) {
    const std::vector<Frame> frames = open_good(path);
    REQUIRE(frames.size() == static_cast<std::size_t>(w.planes));
    const std::vector<PixelBox> boxes = {{5, 30, 9, 8},  {50, 40, 20, 20}, {-4, -4, 7, 7},
                                         {0, 0, 61, 47}, {12, 28, 9, 8},   {60, 46, 1, 1}};
    for (int plane = 0; plane < w.planes; ++plane) {
        const Frame& frame = frames[static_cast<std::size_t>(plane)];
        CHECK(frame.facts().width_px == written_width);
        CHECK(frame.facts().height_px == written_height);
        CHECK(frame.facts().plane == plane);
        CHECK(frame.header().text("OBJECT") == "O'Brien's nova");
        CHECK(frame.wcs());
        const auto all = frame.read(boxes);
        REQUIRE(all);
        REQUIRE(all->size() == boxes.size());
        double worst = 0.0;
        for (std::size_t i = 0; i < boxes.size(); ++i) {
            const Cutout& cutout = (*all)[i];
            CHECK(cutout.box == boxes[i].inside(written_width, written_height));
            const auto alone = frame.read(boxes[i]);
            REQUIRE(alone);
            CHECK(alone->adu == cutout.adu);
            const PixelBox& box = cutout.box;
            for (int y = box.y0; y < box.y0 + box.height; ++y) {
                for (int x = box.x0; x < box.x0 + box.width; ++x) {
                    const double expected = testing::written_pixel(plane, x, y);
                    worst = std::max(worst, std::abs(static_cast<double>(cutout.at(x, y)) - expected));
                }
            }
        }
        CHECK(worst <= tolerance(w));
    }
}

}  // namespace

TEST_CASE("every pixel type that cfitsio writes is read as it was, plain and packed", "[pixels][outside]") {
    const Folder folder;
    const struct {
        int type;
        const char* name;
    } types[] = {{BYTE_IMG, "uint8"},     {SBYTE_IMG, "uint8"},   {SHORT_IMG, "int16"},
                 {USHORT_IMG, "uint16"},  {LONG_IMG, "int32"},    {ULONG_IMG, "uint32"},
                 {LONGLONG_IMG, "int64"}, {FLOAT_IMG, "float32"}, {DOUBLE_IMG, "float64"}};
    using testing::Packing;
    int number = 0;
    for (const auto& type : types) {
        for (const Packing packing : {Packing::none, Packing::rice, Packing::gzip, Packing::gzip_shuffled,
                                      Packing::hcompress, Packing::plio}) {
            // cfitsio packs no 64-bit integers, and PLIO is for masks of small positive integers.
            if (type.type == LONGLONG_IMG && packing != Packing::none) continue;
            if (packing == Packing::plio && type.type != SHORT_IMG && type.type != BYTE_IMG) continue;
            if (packing == Packing::hcompress && type.type < 0) continue;
            for (const bool square : {false, true}) {
                if (square && (packing == Packing::none || packing == Packing::plio)) continue;
                Written w{.type = type.type, .packing = packing};
                if (square) w.tile_width = 20, w.tile_height = 16;
                const std::string path = folder.path(std::to_string(number++) + ".fits");
                INFO(type.name << " packing " << static_cast<int>(packing) << " square " << square);
                testing::write_by_library(path, w);
                check_written(path, w);
                const auto frames = open_good(path);
                CHECK(frames.front().facts().pixel_type == type.name);
                CHECK(frames.front().facts().tile_compressed == (packing != Packing::none));
                CHECK(frames.front().facts().hdu == (packing == Packing::none ? 0 : 1));
            }
        }
    }
}

TEST_CASE("images in extensions, colour cubes and gzipped files are read", "[pixels]") {
    const Folder folder;
    using testing::Packing;
    int number = 0;
    for (const char* ending : {".fits", ".fits.gz"}) {
        for (const Written& w :
             {Written{.type = USHORT_IMG}, Written{.type = FLOAT_IMG, .in_extension = true},
              Written{.type = USHORT_IMG, .planes = 3},
              Written{.type = SHORT_IMG, .in_extension = true, .planes = 3},
              Written{.type = USHORT_IMG, .packing = Packing::rice, .planes = 3}}) {
            const std::string path = folder.path("kind" + std::to_string(number++) + ending);
            INFO(path);
            testing::write_by_library(path, w);
            const bool gzipped = testing::bytes_of(path).starts_with("\x1f\x8b");
            CHECK(gzipped == path.ends_with(".gz"));
            check_written(path, w);
            CHECK(open_good(path).front().facts().hdu ==
                  (w.in_extension || w.packing != Packing::none ? 1 : 0));
        }
    }
}

// Values: written by astropy 5.2.1; the first bytes of u16.fits are 8000 8001 8064 ffff 0000 …
TEST_CASE("files that astropy wrote have astropy's pixels", "[pixels][outside]") {
    const Cutout small = whole(sample("u16.fits"));
    CHECK(small.adu == std::vector<float>{0, 1, 100, 32767, 32768, 32769, 40000, 65534, 65535, 2, 3, 4});

    const Cutout plain = whole(sample("frame_u16.fits"));
    double sum = 0.0;
    for (const float v : plain.adu)
        sum += static_cast<double>(v);
    CHECK(sum == 6313231.0);
    CHECK(plain.at(40, 20) == 3880.0F);
    CHECK(*std::min_element(plain.adu.begin(), plain.adu.end()) == 958.0F);
    CHECK(*std::max_element(plain.adu.begin(), plain.adu.end()) == 3973.0F);
    CHECK(whole(sample("frame_u16_rice.fits.fz")).adu == plain.adu);
    CHECK(whole(sample("frame_u16_gzip.fits.fz")).adu == plain.adu);

    const Cutout floats = whole(sample("frame_f32.fits"));
    const Cutout dithered = whole(sample("frame_f32_rice_dither.fits.fz"));
    double worst = 0.0;
    for (std::size_t i = 0; i < floats.adu.size(); ++i)
        worst = std::max(worst,
                         std::abs(static_cast<double>(floats.adu[i]) - static_cast<double>(dithered.adu[i])));
    // astropy found 0.522461 with the same dither; the figure has six decimals.
    CHECK(worst == Approx(0.522461).margin(1e-6));
}

// FITS standard 4.0, 4.4.2.5: physical = BZERO + BSCALE × stored; BLANK is a stored value. Arithmetic by
// hand.
TEST_CASE("scaling and undefined pixels follow the standard", "[pixels]") {
    const Folder folder;
    const auto check = [&](const std::string& bytes, const std::vector<float>& expected) {
        const Cutout got = whole(folder.file("small.fits", bytes));
        REQUIRE(got.adu.size() == expected.size());
        for (std::size_t i = 0; i < expected.size(); ++i) {
            INFO("pixel " << i << " is " << got.adu[i] << ", not " << expected[i]);
            CHECK(same(got.adu[i], expected[i]));
        }
    };
    const std::vector<std::uint16_t> shorts = {0, 1, 2, 0x7fff, 0x8000, 0xffff};
    check(small_image(16, shorts), {0, 1, 2, 32767, -32768, -1});
    check(small_image(16, shorts, {"BZERO   = 32768.0"}), {32768, 32769, 32770, 65535, 0, 32767});
    check(small_image(16, shorts, {"BSCALE  = 0.5", "BZERO   = 10", "BLANK   = -32768"}),
          {10, 10.5, 11, 16393.5, undefined, 9.5});
    check(small_image(16, shorts, {"BZERO   = 32768", "BLANK   = -1"}),
          {32768, 32769, 32770, 65535, 0, undefined});
    check(small_image<std::uint8_t>(8, {0, 1, 127, 128, 254, 255}, {"BLANK   = 255"}),
          {0, 1, 127, 128, 254, undefined});
    check(small_image<std::uint32_t>(32, {0, 1, 0x80000000U, 0xffffffffU, 7, 8}, {"BLANK   = -2147483648"}),
          {0, 1, undefined, -1, 7, 8});
    check(
        small_image<std::uint64_t>(64, {0, 1, 0x8000000000000000U, 0x8000000000000001U, ~std::uint64_t{0}, 8},
                                   {"BLANK   = -9223372036854775808"}),
        {0, 1, undefined, -9223372036854775808.0F, -1, 8});
    // 1.5, NaN, +infinity, -infinity, a subnormal, -0; and a BLANK that floats have no use for.
    check(small_image<std::uint32_t>(-32, {0x3fc00000, 0x7fc00001, 0x7f800000, 0xff800000, 1, 0x80000000},
                                     {"BLANK   = 0"}),
          {1.5, undefined, undefined, undefined, std::numeric_limits<float>::denorm_min(), 0});
    // 1.5, NaN, 1e300 (beyond a float), 2^-1, 0, -2
    check(small_image<std::uint64_t>(-64, {0x3ff8000000000000, 0x7ff8000000000000, 0x7e37e43c8800759c,
                                           0x3fe0000000000000, 0, 0xc000000000000000}),
          {1.5, undefined, undefined, 0.5, 0, -2});
    check(small_image(16, shorts, {"BSCALE  = 1E300"}),
          {0, undefined, undefined, undefined, undefined, undefined});
    const auto flattened =
        open_frames(folder.file("small.fits", small_image(16, shorts, {"BSCALE  = 0"})), {});
    REQUIRE_FALSE(flattened);
    CHECK(flattened.error().what == "By BSCALE = 0 all its pixels are the same.");
}

// PCOUNT is 0 for an image (FITS standard 4.0, 4.4.1.2); where it is not, cfitsio 4.2 looks for the pixels
// behind so many others, beyond the end of the file.
TEST_CASE("the pixels of a gzipped image are those of the image, whatever else its header says", "[pixels]") {
    const Folder folder;
    const std::string image =
        small_image<std::uint16_t>(16, {0, 1, 2, 0x7fff, 0x8000, 0xffff}, {"PCOUNT  = 7043"});
    const Cutout plain = whole(folder.file("plain.fits", image));
    CHECK(plain.adu == std::vector<float>{0, 1, 2, 32767, -32768, -1});
    CHECK(whole(folder.file("packed.fits.gz", gzipped(image))).adu == plain.adu);
}

TEST_CASE("a box holds pixels and covers places up to their edges, and counts them row by row", "[pixels]") {
    const PixelBox box{10, 20, 3, 2};
    CHECK(box.pixels() == 6);
    CHECK(PixelBox{10, 20, -3, 2}.pixels() == 0);
    std::size_t in_order = 0;
    for (int y = 20; y < 22; ++y) {
        for (int x = 10; x < 13; ++x, ++in_order) {
            CHECK(box.holds(x, y));
            CHECK(box.index(x, y) == in_order);
        }
    }
    for (const auto& [x, y] : {std::pair{9, 20}, {13, 20}, {10, 19}, {10, 22}})
        CHECK_FALSE(box.holds(x, y));
    CHECK(box.covers(9.5, 19.5));
    CHECK(box.covers(12.49, 21.49));
    CHECK_FALSE(box.covers(12.5, 20.0));
    CHECK_FALSE(box.covers(9.49, 20.0));
    CHECK_FALSE(box.covers(11.0, 21.5));
    CHECK_FALSE(box.covers(std::nan(""), 20.0));
    CHECK_FALSE(box.covers(11.0, std::nan("")));
}

TEST_CASE("part of a cut-out has its pixels, and is empty where it would reach beyond", "[pixels]") {
    const Cutout whole{{5, 7, 3, 2}, {1.0F, 2.0F, 3.0F, 4.0F, 5.0F, 6.0F}};
    CHECK(whole.part({6, 7, 2, 2}) == Cutout{{6, 7, 2, 2}, {2.0F, 3.0F, 5.0F, 6.0F}});
    CHECK(whole.part({5, 7, 3, 2}) == whole);
    for (const PixelBox& beyond : {PixelBox{4, 7, 2, 2}, PixelBox{6, 7, 3, 1}, PixelBox{5, 8, 1, 2},
                                   PixelBox{6, 6, 1, 1}, PixelBox{6, 7, 0, 1}})
        CHECK(whole.part(beyond) == Cutout{});
}

TEST_CASE("a box is cut at the frame's edge, and refused outside", "[pixels]") {
    CHECK(PixelBox{-3, -2, 5, 5}.inside(10, 10) == PixelBox{0, 0, 2, 3});
    CHECK(PixelBox{8, 9, 5, 5}.inside(10, 10) == PixelBox{8, 9, 2, 1});
    CHECK(PixelBox{10, 0, 5, 5}.inside(10, 10).empty());
    CHECK(PixelBox{2147483640, 2147483640, 100, 100}.inside(10, 10).empty());
    CHECK(PixelBox{-2147483647, 0, 2147483647, 5}.inside(10, 10).empty());
    CHECK(PixelBox{1, 1, 2, 2}.joined({}) == PixelBox{1, 1, 2, 2});
    CHECK(PixelBox{1, 1, 2, 2}.joined({5, 0, 1, 1}) == PixelBox{1, 0, 5, 3});
    const Frame frame = open_good(sample("frame_u16.fits")).front();
    for (const PixelBox& box :
         {PixelBox{96, 0, 3, 3}, PixelBox{-5, 5, 5, 5}, PixelBox{3, 3, 0, 4}, PixelBox{3, 3, -2, 4}}) {
        const auto outside = frame.read(box);
        REQUIRE_FALSE(outside);
        CHECK(outside.error().what == "That part lies outside the frame.");
    }
    CHECK(frame.read(std::vector<PixelBox>{})->empty());
}

TEST_CASE("a name with brackets is a name, not a filter", "[pixels]") {
    const Folder folder;
    const std::string bytes = testing::bytes_of(sample("frame_u16.fits"));
    for (const char* name : {"m51[1].fits", "a[2:3,4:5].fits", "!b.fits", "c.fits+1", "with space.fits"}) {
        INFO(name);
        CHECK(whole(folder.file(name, bytes)).adu.size() == 96U * 64U);
    }
}

TEST_CASE("an 8-bit picture is read and remarked", "[pixels]") {
    const Folder folder;
    const auto frames =
        open_good(folder.file("eight.fits", small_image<std::uint8_t>(8, {1, 2, 3, 4, 5, 6})));
    const auto& remarks = frames.front().facts().remarks;
    CHECK(std::any_of(remarks.begin(), remarks.end(),
                      [](const std::string& remark) { return remark.starts_with("An 8-bit picture"); }));
}

TEST_CASE("two threads read one file and different files", "[pixels]") {
    const Folder folder;
    Written w{.type = USHORT_IMG, .packing = testing::Packing::rice};
    testing::write_by_library(folder.path("a.fits"), w);
    testing::write_by_library(folder.path("b.fits"), w);
    const std::vector<float> expected = whole(folder.path("a.fits")).adu;
    std::vector<int> wrong(4, 0);
    std::vector<std::thread> threads;
    for (std::size_t t = 0; t < wrong.size(); ++t) {
        threads.emplace_back([&, t] {
            for (int i = 0; i < 40; ++i) {
                const auto frames = open_frames(folder.path(t % 3 == 0 ? "a.fits" : "b.fits"), {});
                const auto pixels = frames ? frames->front().read_whole() : emberline::fail({});
                if (!pixels || pixels->adu != expected) ++wrong[t];
            }
        });
    }
    for (std::thread& thread : threads)
        thread.join();
    CHECK(wrong == std::vector<int>(4, 0));
}

TEST_CASE("a frame that was written is read back, plain and packed, and replaces the old one whole",
          "[write]") {
    const Folder folder;
    std::vector<std::uint16_t> adu(200 * 50);
    for (std::size_t i = 0; i < adu.size(); ++i)
        adu[i] = static_cast<std::uint16_t>(i * 6553);
    const std::string long_text =
        "A 'quoted' remark of more than one card: " + std::string(150, 'x') + " end";
    const std::vector<Card> cards = {{"DATE-OBS", "2024-02-03T21:04:05.5", "start", true},
                                     {"EXPTIME", "30.0", "[s]", false},
                                     {"REMARK", long_text, "", true},
                                     {"DET CHIP GAIN", "1.25", "", false}};
    for (const Packing packing : {Packing::plain, Packing::tiles}) {
        const std::string path = folder.path("frame.fits");
        REQUIRE(write_frame(path, 200, 50, adu, cards, packing));
        const auto frames = open_good(path);
        const Frame& frame = frames.front();
        CHECK(frame.facts().pixel_type == "uint16");
        CHECK(frame.facts().tile_compressed == (packing == Packing::tiles));
        CHECK(frame.header().text("DATE-OBS") == "2024-02-03T21:04:05.5");
        CHECK(frame.header().number("EXPTIME") == 30.0);
        CHECK(frame.header().text("REMARK") == long_text);
        CHECK(frame.header().number("DET CHIP GAIN") == 1.25);
        CHECK(frame.read_whole()->adu == std::vector<float>(adu.begin(), adu.end()));
    }
    const auto uneven = write_frame(folder.path("frame.fits"), 7, 7, adu, {});
    REQUIRE_FALSE(uneven);
    CHECK(uneven.error().what == "10000 pixels do not make an image of 7 × 7.");
    const auto nowhere = write_frame(folder.path("missing/frame.fits"), 200, 50, adu, cards);
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().kind == emberline::ProblemKind::storage);
    CHECK(whole(folder.path("frame.fits")).adu.size() == adu.size());
}

// Sums: astropy 5.2.1 is not needed; a file and its twin of another packing or plane agree among themselves.
TEST_CASE("published files of odd kinds are read", "[pixels][outside]") {
    const char* datasets = std::getenv("EMBERLINE_DATASETS");
    if (datasets == nullptr) {
        WARN("SKIPPED: EMBERLINE_DATASETS is not set, so the published files are not there to be read.");
        return;
    }
    const std::string folder = std::string(datasets) + "/headers/";
    const auto cube = open_good(folder + "frames/ngc6976_irg_cube.fits");
    REQUIRE(cube.size() == 3);
    const char* planes[] = {"i", "r", "g"};
    for (std::size_t plane = 0; plane < 3; ++plane) {
        INFO("plane " << planes[plane]);
        const Cutout alone = whole(folder + "frames/reprojected_sdss_" + planes[plane] + ".fits");
        const Cutout in_cube = *cube[plane].read_whole();
        REQUIRE(alone.adu.size() == in_cube.adu.size());
        CHECK(std::equal(alone.adu.begin(), alone.adu.end(), in_cube.adu.begin(), same));
    }
    CHECK(std::isnan(whole(folder + "files/blank.fits").adu.front()));
    // Its name tells what each of its pixels is worth: 1890 after scaling.
    for (const float v : whole(folder + "files/fixed-1890.fits").adu)
        REQUIRE(v == 1890.0F);
    CHECK(whole(folder + "wcs_headers/dss.14.29.56-62.41.05.fits.gz").adu.size() == 10000);
}
