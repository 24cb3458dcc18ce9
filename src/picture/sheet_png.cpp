// SPDX-License-Identifier: MIT
// Source: PNG (ISO/IEC 15948:2004), its zlib stream in stored blocks (RFC 1950, RFC 1951): the noise of a sky
// hardly packs.
#include <algorithm>
#include <array>
#include <string>

#include "picture/sheet_drawing.hpp"

namespace emberline::picture {
namespace {

using Bytes = std::string;

void put_32(Bytes& out, std::uint32_t value) {
    for (int shift = 24; shift >= 0; shift -= 8)
        out += static_cast<char>((value >> static_cast<unsigned>(shift)) & 0xFFU);
}

std::uint32_t crc_of(const Bytes& bytes) {
    static const auto table = [] {
        std::array<std::uint32_t, 256> all{};
        for (std::uint32_t n = 0; n < all.size(); ++n) {
            std::uint32_t c = n;
            for (int k = 0; k < 8; ++k)
                c = (c & 1U) != 0 ? 0xEDB88320U ^ (c >> 1U) : c >> 1U;
            all[n] = c;
        }
        return all;
    }();
    std::uint32_t crc = 0xFFFFFFFFU;
    for (const char byte : bytes)
        crc = table[(crc ^ static_cast<unsigned char>(byte)) & 0xFFU] ^ (crc >> 8U);
    return ~crc;
}

std::uint32_t adler_of(const Bytes& bytes) {
    constexpr std::uint32_t prime = 65521;
    std::uint32_t a = 1, b = 0;
    for (const char byte : bytes) {
        a = (a + static_cast<unsigned char>(byte)) % prime;
        b = (b + a) % prime;
    }
    return (b << 16U) | a;
}

void put_chunk(Bytes& out, const char* type, const Bytes& content) {
    put_32(out, static_cast<std::uint32_t>(content.size()));
    const Bytes body = type + content;
    out += body;
    put_32(out, crc_of(body));
}

Bytes stored_stream(const Bytes& raw) {
    Bytes out("\x78\x01", 2);
    constexpr std::size_t most = 65535;
    for (std::size_t at = 0; at < raw.size(); at += most) {
        const std::size_t n = std::min(most, raw.size() - at);
        const bool last = at + n == raw.size();
        const auto length = static_cast<unsigned>(n);
        out += last ? '\1' : '\0';
        for (const unsigned half : {length, ~length}) {
            out += static_cast<char>(half & 0xFFU);
            out += static_cast<char>((half >> 8U) & 0xFFU);
        }
        out.append(raw, at, n);
    }
    put_32(out, adler_of(raw));
    return out;
}

Bytes png_of(const GreyPicture& picture) {
    Bytes rows;
    const auto width = static_cast<std::size_t>(picture.width);
    for (std::size_t y = 0; y < static_cast<std::size_t>(picture.height); ++y) {
        rows += '\0';  // no filter
        for (std::size_t x = 0; x < width; ++x)
            rows += static_cast<char>(picture.grey[y * width + x]);
    }
    Bytes header;
    put_32(header, static_cast<std::uint32_t>(picture.width));
    put_32(header, static_cast<std::uint32_t>(picture.height));
    header.append("\x08\x00\x00\x00\x00", 5);  // 8 bits, grey
    Bytes out("\x89PNG\r\n\x1a\n", 8);
    put_chunk(out, "IHDR", header);
    put_chunk(out, "IDAT", stored_stream(rows));
    put_chunk(out, "IEND", {});
    return out;
}

// RFC 4648, section 4.
std::string base64(const Bytes& bytes) {
    constexpr const char* digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string out;
    out.reserve((bytes.size() + 2) / 3 * 4);
    for (std::size_t i = 0; i < bytes.size(); i += 3) {
        std::uint32_t three = 0;
        for (std::size_t k = 0; k < 3; ++k)
            three = (three << 8U) | (i + k < bytes.size() ? static_cast<unsigned char>(bytes[i + k]) : 0U);
        for (std::size_t k = 0; k < 4; ++k)
            out +=
                i + k > bytes.size() ? '=' : digits[(three >> (18U - 6U * static_cast<unsigned>(k))) & 63U];
    }
    return out;
}

}  // namespace

std::string data_uri(const GreyPicture& picture) {
    return "data:image/png;base64," + base64(png_of(picture));
}

}  // namespace emberline::picture
