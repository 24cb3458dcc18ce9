// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <filesystem>
#include <random>
#include <set>

#include "frame/fits_maker.hpp"
#include "frame/frame.hpp"

using namespace emberline::frame;
using emberline::frame::testing::Folder;

namespace {

std::string noise(std::size_t bytes, unsigned seed) {
    std::mt19937 random(seed);
    std::string out(bytes, '\0');
    for (char& c : out)
        c = static_cast<char>(random() % 256);
    return out;
}

std::string of(const std::string& path) {
    const auto print = fingerprint(path);
    REQUIRE(print);
    return *print;
}

}  // namespace

TEST_CASE("a renamed or copied file keeps its fingerprint of 32 hexadecimal digits", "[fingerprint]") {
    const Folder folder;
    for (const std::size_t bytes : {std::size_t{1}, std::size_t{2880}, std::size_t{262144},
                                    std::size_t{262145}, std::size_t{2000000}}) {
        const std::string first = of(folder.file("a.fits", noise(bytes, 1)));
        CHECK(first == of(folder.file("b.fit", noise(bytes, 1))));
        CHECK(first.size() == 32);
        CHECK(first.find_first_not_of("0123456789abcdef") == std::string::npos);
    }
}

TEST_CASE("any changed bit of a small file changes its fingerprint", "[fingerprint]") {
    const Folder folder;
    std::string bytes = noise(300, 2);
    std::set<std::string> seen = {of(folder.file("a.fits", bytes))};
    for (std::size_t bit = 0; bit < bytes.size() * 8; ++bit) {
        bytes[bit / 8] = static_cast<char>(bytes[bit / 8] ^ (1 << (bit % 8)));
        seen.insert(of(folder.file("a.fits", bytes)));
        bytes[bit / 8] = static_cast<char>(bytes[bit / 8] ^ (1 << (bit % 8)));
    }
    CHECK(seen.size() == 300 * 8 + 1);
    // Each half by itself tells them apart too: no lane of the digest is idle.
    std::set<std::string> front, back;
    for (const std::string& print : seen) {
        front.insert(print.substr(0, 16));
        back.insert(print.substr(16));
    }
    CHECK(front.size() == seen.size());
    CHECK(back.size() == seen.size());
}

TEST_CASE("reprocessing changes the fingerprint of a large frame", "[fingerprint]") {
    const Folder folder;
    const std::string bytes = noise(3000000, 3);
    std::set<std::string> seen = {of(folder.file("a.fits", bytes))};
    std::string changed = bytes;
    changed[100] = static_cast<char>(changed[100] + 1);  // a card of the header
    seen.insert(of(folder.file("a.fits", changed)));
    changed = bytes;
    changed.back() = static_cast<char>(changed.back() + 1);  // the last pixel
    seen.insert(of(folder.file("a.fits", changed)));
    changed = bytes;
    for (std::size_t i = 70000; i < changed.size(); i += 2)
        changed[i] = static_cast<char>(changed[i] + 1);  // a dark of one ADU subtracted
    seen.insert(of(folder.file("a.fits", changed)));
    seen.insert(of(folder.file("a.fits", bytes + "\1")));
    seen.insert(of(folder.file("a.fits", bytes.substr(1))));
    seen.insert(of(folder.file("a.fits", std::string(bytes.size(), '\0'))));
    seen.insert(of(folder.file("a.fits", std::string(bytes.size() + 1, '\0'))));
    CHECK(seen.size() == 8);
}
