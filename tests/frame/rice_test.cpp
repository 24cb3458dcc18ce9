// SPDX-License-Identifier: MIT
#include <array>
#include <catch2/catch.hpp>
#include <vector>

#include "frame/rice.hpp"

using emberline::frame::rice_ends;
using emberline::frame::RiceBlocks;

namespace {

struct Case {
    const char* name;
    std::vector<unsigned char> bytes;
    std::size_t pixels;
    RiceBlocks blocks;
};

}  // namespace

// Worked by hand from the description in the FITS standard 4.0, section 10.4.1: the first pixel; then for
// each block a head of 3, 4 or 5 bits, one more than the low bits of each difference, 0 where all are nought,
// the greatest where the differences stand as they are; of each difference zeros, a one, and the low bits.
TEST_CASE("a stream of Rice codes ends with its last byte, and is refused without it") {
    const std::vector<Case> cases = {
        // 0000
        {"all alike", {0, 5, 0x00}, 32, {32, 2}},
        // 0001 1 1 001
        {"no low bits, differences 0, 0, 2", {0, 5, 0x1C, 0x80}, 3, {32, 2}},
        // 0011 (1 01) (01 10)
        {"two low bits, differences 1 and 6", {0, 5, 0x3A, 0xC0}, 2, {32, 2}},
        // 1111 and 2 × 16 bits
        {"as they are", {0, 5, 0xF1, 0x23, 0x45, 0x67, 0x80}, 2, {32, 2}},
        // 0000 0000 0001 1
        {"three blocks of one pixel", {0, 5, 0x00, 0x18}, 3, {1, 2}},
        // 0001, 70 zeros, 1
        {"more zeros than a word has bits", {0, 5, 0x10, 0, 0, 0, 0, 0, 0, 0, 0, 0x20}, 1, {32, 2}},
        // 001 1 001
        {"pixels of one byte", {9, 0x32}, 2, {32, 1}},
        // 00001 1 0001
        {"pixels of four bytes", {0, 0, 0, 9, 0x0C, 0x40}, 2, {32, 4}},
    };
    for (const Case& c : cases) {
        INFO(c.name);
        CHECK(rice_ends(c.bytes, c.pixels, c.blocks));
        const std::vector<unsigned char> cut(c.bytes.begin(), c.bytes.end() - 1);
        CHECK_FALSE(rice_ends(cut, c.pixels, c.blocks));
    }
    CHECK_FALSE(rice_ends({}, 1, {32, 2}));
}
