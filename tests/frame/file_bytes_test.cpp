// SPDX-License-Identifier: MIT
// Files that are gzipped as a whole: what RFC 1952 allows is read, what is damaged is refused, and a header
// in there is looked at like one that lies open.
#include "frame/file_bytes.hpp"

#include <fitsio.h>

#include <catch2/catch.hpp>

#include "frame/fits_maker.hpp"
#include "frame/frame.hpp"
#include "frame/gzipped.hpp"

using namespace emberline;
using namespace emberline::frame;
using frame::testing::bytes_of;
using frame::testing::Folder;
using frame::testing::gzipped;

namespace {

std::string tiles(const Folder& folder) {
    const std::string path = folder.path("tiles.fits");
    testing::write_by_library(path, {.type = USHORT_IMG, .packing = testing::Packing::rice});
    return bytes_of(path);
}

std::vector<float> pixels(const std::string& path) {
    const auto frames = open_frames(path, {});
    REQUIRE(frames);
    const auto whole = frames->front().read_whole();
    REQUIRE(whole);
    return whole->adu;
}

std::string refusal(const std::string& path) {
    const auto frames = open_frames(path, {});
    REQUIRE_FALSE(frames);
    return frames.error().what;
}

}  // namespace

TEST_CASE("members in series are one file, and what follows the last one is left", "[file_bytes]") {
    const Folder folder;
    const std::string plain = tiles(folder);
    const std::vector<float> expected = pixels(folder.path("tiles.fits"));
    const std::string one = gzipped(plain);
    CHECK(pixels(folder.file("one.fits.gz", one)) == expected);
    // A second member that begins at every place of a piece of reading would take too long: some.
    for (const std::size_t cut : {std::size_t{1}, std::size_t{2880}, plain.size() / 2, plain.size() - 1}) {
        INFO(cut);
        const std::string two = gzipped(plain.substr(0, cut)) + gzipped(plain.substr(cut));
        CHECK(pixels(folder.file("two.fits.gz", two)) == expected);
    }
    CHECK(pixels(folder.file("empty.fits.gz", gzipped("") + one)) == expected);
    CHECK(pixels(folder.file("zeros.fits.gz", one + std::string(512, '\0'))) == expected);
    CHECK(pixels(folder.file("one_more.fits.gz", one + "\x1f")) == expected);
}

TEST_CASE("members are read where a piece of reading ends within them", "[file_bytes]") {
    const Folder folder;
    // Bytes without a pattern hardly pack, so that the file is longer than several pieces.
    std::string bytes(3'000'000, '\0');
    unsigned state = 1;
    for (char& byte : bytes) {
        state = state * 1664525U + 1013904223U;
        byte = static_cast<char>(state >> 24U);
    }
    std::string series;
    for (std::size_t at = 0; at < bytes.size(); at += 131'072 - 11)
        series += gzipped(bytes.substr(at, 131'072 - 11));
    REQUIRE(series.size() > bytes.size());
    FileBytes file;
    REQUIRE_FALSE(file.open(folder.file("series.gz", series)));
    REQUIRE(file.gzipped());
    REQUIRE_FALSE(file.unpack());
    REQUIRE(file.size() == static_cast<long long>(bytes.size()));
    std::string back(bytes.size(), '\0');
    CHECK(file.read(0, back) == bytes.size());
    CHECK(back == bytes);
    std::string end(10, '\0');
    CHECK(file.read(file.size() - 4, end) == 4);
    CHECK(end.substr(0, 4) == bytes.substr(bytes.size() - 4));
    CHECK(file.read(file.size(), end) == 0);
    CHECK(file.read(-1, end) == 0);
}

// RFC 1952, section 2.3.1: the member ends with its checksum and its length, which a reader must look at.
TEST_CASE("a gzipped file that is cut short or changed is refused", "[file_bytes]") {
    const Folder folder;
    const std::string whole = gzipped(tiles(folder));
    const std::string damaged = "The gzipped file is cut short or damaged.";
    for (const std::size_t length :
         {std::size_t{2}, std::size_t{9}, std::size_t{18}, whole.size() / 2, whole.size() - 9,
          whole.size() - 8, whole.size() - 4, whole.size() - 1}) {
        INFO(length);
        CHECK(refusal(folder.file("cut.fits.gz", whole.substr(0, length))) == damaged);
    }
    for (const std::size_t from_end : {1U, 4U, 5U, 8U}) {
        std::string changed = whole;
        changed[changed.size() - from_end] = static_cast<char>(changed[changed.size() - from_end] ^ 1);
        INFO(from_end);
        CHECK(refusal(folder.file("changed.fits.gz", changed)) == damaged);
    }
}

TEST_CASE("what a gzipped file holds must be a FITS file, not packed in a second way", "[file_bytes]") {
    const Folder folder;
    const std::string plain = tiles(folder);
    const auto told = [&](const std::string& inside) {
        return refusal(folder.file("packed.fits.gz", gzipped(inside)));
    };
    CHECK(told(gzipped(plain)) == "This is not a FITS file but a file packed by gzip twice.");
    CHECK(told("PK\x03\x04" + plain) == "This is not a FITS file but a packed folder.");
    CHECK(told("BZh9").find("This is not a FITS file") == 0);
    CHECK(told("").find("This is not a FITS file") == 0);
}

TEST_CASE("a header in a gzipped file is looked at before cfitsio sees it", "[file_bytes]") {
    const Folder folder;
    const std::string plain = tiles(folder);
    for (const auto& [keyword, value] : {std::pair("ZTILE1  ", "0"), std::pair("ZNAXIS  ", "9999"),
                                         std::pair("TFIELDS ", "9999"), std::pair("ZVAL1   ", "0")}) {
        std::string changed = plain;
        const auto card = changed.find(std::string(keyword) + "=");
        INFO(keyword);
        REQUIRE(card != std::string::npos);
        changed.replace(card + 10, 20, std::string(20 - std::string(value).size(), ' ') + value);
        const std::string open = refusal(folder.file("open.fits", changed));
        CHECK(open.find(std::string(keyword).substr(0, 5)) != std::string::npos);
        CHECK(refusal(folder.file("packed.fits.gz", gzipped(changed))) == open);
    }
}
