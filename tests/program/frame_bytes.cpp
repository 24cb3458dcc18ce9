// SPDX-License-Identifier: MIT
#include "program/frame_bytes.hpp"

#include <bit>
#include <catch2/catch.hpp>
#include <cstdint>

namespace emberline::testing {
namespace {

std::string card(std::string text) {
    text.resize(card_bytes, ' ');
    return text;
}

std::string to_blocks(std::string bytes, char filling) {
    bytes.resize((bytes.size() + block_bytes - 1) / block_bytes * block_bytes, filling);
    return bytes;
}

std::string keyword_field(std::string keyword) {
    keyword.resize(8, ' ');
    return keyword + "=";
}

std::size_t place_of(const std::string& fits, const std::string& keyword) {
    const std::string wanted = keyword_field(keyword);
    for (std::size_t at = 0; at + card_bytes <= fits.size(); at += card_bytes) {
        if (fits.compare(at, wanted.size(), wanted) == 0) return at;
        if (fits.compare(at, 8, "END     ") == 0) break;
    }
    FAIL("no card " << keyword);
    return 0;
}

}  // namespace

std::string with_card(std::string fits, const std::string& keyword, const std::string& value) {
    return fits.replace(place_of(fits, keyword), card_bytes, card(keyword_field(keyword) + " " + value));
}

std::string without_cards(std::string fits, const std::vector<std::string>& keywords) {
    for (const std::string& keyword : keywords)
        fits.replace(place_of(fits, keyword), card_bytes, card("COMMENT taken out"));
    return fits;
}

std::string fits_of(const std::vector<std::string>& cards, const std::string& pixels) {
    std::string header;
    for (const std::string& text : cards)
        header += card(text);
    return to_blocks(header + card("END"), ' ') + to_blocks(pixels, '\0');
}

std::string header_of(const std::string& fits) {
    std::size_t at = 0;
    while (at < fits.size() && fits.compare(at, 8, "END     ") != 0)
        at += card_bytes;
    return fits.substr(0, (at + card_bytes + block_bytes - 1) / block_bytes * block_bytes);
}

std::string with_pixels(const std::string& fits, std::string pixels) {
    return header_of(fits) + to_blocks(std::move(pixels), '\0');
}

std::string pixels_of(const std::vector<float>& values) {
    std::string bytes;
    for (const float value : values) {
        const auto bits = std::bit_cast<std::uint32_t>(value);
        for (const unsigned shift : {24U, 16U, 8U, 0U})
            bytes += static_cast<char>(bits >> shift & 0xffU);
    }
    return bytes;
}

std::string pixels_of(const std::vector<short>& values) {
    std::string bytes;
    for (const short value : values) {
        const auto bits = static_cast<std::uint16_t>(value);
        bytes += static_cast<char>(bits >> 8U);
        bytes += static_cast<char>(bits & 0xffU);
    }
    return bytes;
}

std::vector<short> shorts_of(const std::string& fits, std::size_t n) {
    const std::size_t start = header_of(fits).size();
    std::vector<short> values(n);
    for (std::size_t i = 0; i < n; ++i) {
        const auto high = static_cast<unsigned char>(fits.at(start + 2 * i));
        const auto low = static_cast<unsigned char>(fits.at(start + 2 * i + 1));
        values[i] = static_cast<short>(static_cast<std::uint16_t>(high << 8U | low));
    }
    return values;
}

}  // namespace emberline::testing
