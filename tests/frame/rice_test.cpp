// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cstdint>
#include <vector>

#include "frame/rice.hpp"

using emberline::frame::rice_ends;
using emberline::frame::RiceBlocks;
using emberline::frame::unpack_rice;

namespace {

struct Case {
    const char* name;
    std::vector<unsigned char> bytes;
    std::vector<std::int32_t> pixels;
    RiceBlocks blocks;
};

}  // namespace

// Worked by hand from the description in the FITS standard 4.0, section 10.4.1: the first pixel; then for
// each block a head of 3, 4 or 5 bits, one more than the low bits of each difference, 0 where all are nought,
// the greatest where the differences stand as they are; of each difference zeros, a one, and the low bits.
// Differences are folded: 0, 1, 2, 3 … stand for 0, -1, 1, -2.
TEST_CASE("a stream of Rice codes is unpacked, ends with its last byte, and is refused without it") {
    const std::vector<Case> cases = {
        // 0000
        {"all alike", {0, 5, 0x00}, std::vector<std::int32_t>(32, 5), {32, 2}},
        // 0001 1 1 001
        {"no low bits, differences 0, 0, 2", {0, 5, 0x1C, 0x80}, {5, 5, 6}, {32, 2}},
        // 0011 (1 01) (01 10)
        {"two low bits, differences 1 and 6", {0, 5, 0x3A, 0xC0}, {4, 7}, {32, 2}},
        // 1111 and 2 × 16 bits: 1234, 5678
        {"as they are", {0, 5, 0xF1, 0x23, 0x45, 0x67, 0x80}, {2335, 13403}, {32, 2}},
        // 0000 0000 0001 1
        {"three blocks of one pixel", {0, 5, 0x00, 0x18}, {5, 5, 5}, {1, 2}},
        // 0001, 70 zeros, 1
        {"more zeros than a word has bits", {0, 5, 0x10, 0, 0, 0, 0, 0, 0, 0, 0, 0x20}, {40}, {32, 2}},
        // 0001 (001) (01)
        {"over the end of 16 bits and back", {0x7F, 0xFF, 0x12, 0x80}, {-32768, 32767}, {32, 2}},
        // 001 1 001
        {"pixels of one byte", {9, 0x32}, {9, 10}, {32, 1}},
        // 001 001
        {"over the end of 8 bits", {255, 0x24}, {0}, {32, 1}},
        // 00001 1 0001
        {"pixels of four bytes", {0, 0, 0, 9, 0x0C, 0x40}, {9, 7}, {32, 4}},
    };
    for (const Case& c : cases) {
        INFO(c.name);
        const std::size_t n = c.pixels.size();
        CHECK(rice_ends(c.bytes, n, c.blocks));
        std::vector<std::int32_t> pixels(n);
        CHECK(unpack_rice(c.bytes, n, c.blocks, pixels));
        CHECK(pixels == c.pixels);
        const std::vector<unsigned char> cut(c.bytes.begin(), c.bytes.end() - 1);
        CHECK_FALSE(rice_ends(cut, n, c.blocks));
        CHECK_FALSE(unpack_rice(cut, n, c.blocks, pixels));
    }
    CHECK_FALSE(rice_ends({}, 1, {32, 2}));
}

TEST_CASE("of a stream of Rice codes no more is looked at than is asked for") {
    const std::vector<unsigned char> bytes{0, 5, 0x3A, 0xC0}, cut{0, 5, 0x3A};
    std::vector<std::int32_t> first(1);
    CHECK(unpack_rice(bytes, 2, {32, 2}, first));
    CHECK(first[0] == 4);
    CHECK(unpack_rice(cut, 2, {32, 2}, first));
    CHECK(first[0] == 4);
    CHECK(unpack_rice(bytes, 2, {32, 2}, {}));
    CHECK_FALSE(unpack_rice({}, 2, {32, 2}, {}));
}
