// SPDX-License-Identifier: MIT
#include "picture/grey_picture.hpp"

#include <zlib.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <string_view>

#include "numerics/random.hpp"

using namespace emberline;

namespace {

std::uint32_t number_at(std::string_view bytes, std::size_t at) {
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < 4; ++i)
        value = (value << 8U) | static_cast<unsigned char>(bytes[at + i]);
    return value;
}

// Bit by bit, as ISO/IEC 15948:2004, annex D defines it.
std::uint32_t crc_of(std::string_view bytes) {
    std::uint32_t crc = 0xFFFFFFFFU;
    for (const char byte : bytes) {
        crc ^= static_cast<unsigned char>(byte);
        for (int k = 0; k < 8; ++k)
            crc = (crc & 1U) != 0 ? 0xEDB88320U ^ (crc >> 1U) : crc >> 1U;
    }
    return ~crc;
}

// A reader of what is written here: 8 bits grey, no filter, not interlaced. Every chunk's sum is checked.
picture::GreyPicture read_png(std::string_view png) {
    REQUIRE(png.substr(0, 8) == std::string_view("\x89PNG\r\n\x1a\n", 8));
    picture::GreyPicture out;
    std::string packed;
    std::string order;
    for (std::size_t at = 8; at < png.size();) {
        const std::size_t length = number_at(png, at);
        const std::string_view type = png.substr(at + 4, 4), content = png.substr(at + 8, length);
        REQUIRE(content.size() == length);
        REQUIRE(number_at(png, at + 8 + length) == crc_of(png.substr(at + 4, 4 + length)));
        order += type;
        if (type == "IHDR") {
            REQUIRE(length == 13);
            out.width = static_cast<int>(number_at(content, 0));
            out.height = static_cast<int>(number_at(content, 4));
            REQUIRE(content.substr(8) == std::string_view("\x08\x00\x00\x00\x00", 5));
        } else if (type == "IDAT") {
            packed += content;
        }
        at += 12 + length;
    }
    REQUIRE(order == "IHDRIDATIEND");
    const auto width = static_cast<std::size_t>(out.width), height = static_cast<std::size_t>(out.height);
    std::string rows((width + 1) * height + 1, '\0');  // one byte too many, so that more would be seen
    uLongf length = rows.size();
    REQUIRE(uncompress(reinterpret_cast<Bytef*>(rows.data()), &length,
                       reinterpret_cast<const Bytef*>(packed.data()), packed.size()) == Z_OK);
    REQUIRE(length == (width + 1) * height);
    for (std::size_t y = 0; y < height; ++y) {
        REQUIRE(rows[y * (width + 1)] == '\0');
        for (std::size_t x = 0; x < width; ++x)
            out.grey.push_back(static_cast<std::uint8_t>(rows[y * (width + 1) + 1 + x]));
    }
    return out;
}

}  // namespace

TEST_CASE("a grey picture comes out of its PNG as it went in", "[grey-picture]") {
    numerics::Random random(15948);
    for (const auto& [width, height] : {std::pair{1, 1}, {2, 2}, {1, 300}, {300, 1}, {256, 256}, {97, 41}}) {
        picture::GreyPicture picture{width, height, {}};
        for (int k = 0; k < width * height; ++k)
            picture.grey.push_back(static_cast<std::uint8_t>(random.uniform() * 256.0));
        const picture::GreyPicture back = read_png(picture::png_of(picture));
        CHECK(back.width == width);
        CHECK(back.height == height);
        CHECK(back.grey == picture.grey);
    }
}

TEST_CASE("a tile of sky noise packs to what its noise leaves, and an empty one to almost nothing",
          "[grey-picture]") {
    numerics::Random random(7);
    picture::GreyPicture noisy{256, 256, {}}, empty{256, 256, std::vector<std::uint8_t>(65536, 0)};
    // The entropy of Gaussian noise of σ levels is log2(σ √(2 π e)) bits: 4.05 for σ = 4.
    for (int k = 0; k < 65536; ++k)
        noisy.grey.push_back(static_cast<std::uint8_t>(std::lround(80.0 + 4.0 * random.gaussian())));
    const double bits = 8.0 * static_cast<double>(picture::png_of(noisy).size()) / 65536.0;
    CHECK(bits > 4.0);
    CHECK(bits < 4.25);
    CHECK(picture::png_of(empty).size() < 500);
}

TEST_CASE("a PNG stands in a page as text", "[grey-picture]") {
    const picture::GreyPicture picture{3, 1, {0, 128, 255}};
    const std::string png = picture::png_of(picture), uri = picture::data_uri(picture);
    const std::string head = "data:image/png;base64,";
    REQUIRE(uri.substr(0, head.size()) == head);
    // RFC 4648, section 4: four letters for three bytes, filled up with '='.
    REQUIRE(uri.size() - head.size() == (png.size() + 2) / 3 * 4);
    std::string back;
    std::uint32_t bits = 0;
    int held = 0;
    for (const char c : std::string_view(uri).substr(head.size())) {
        if (c == '=') break;
        const auto value =
            std::string_view("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/").find(c);
        REQUIRE(value != std::string_view::npos);
        bits = (bits << 6U) | static_cast<std::uint32_t>(value);
        held += 6;
        if (held >= 8) {
            held -= 8;
            back += static_cast<char>((bits >> static_cast<unsigned>(held)) & 0xFFU);
        }
    }
    CHECK(back == png);
}
