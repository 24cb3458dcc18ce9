// SPDX-License-Identifier: MIT
#include "picture/grey_picture.hpp"

#include <zlib.h>

#include <new>
#include <string_view>

namespace emberline::picture {
namespace {

using Bytes = std::string;

void put_32(Bytes& out, std::uint32_t value) {
    for (int shift = 24; shift >= 0; shift -= 8)
        out += static_cast<char>((value >> static_cast<unsigned>(shift)) & 0xFFU);
}

const Bytef* bytes_of(std::string_view text) {
    return reinterpret_cast<const Bytef*>(text.data());
}

void put_chunk(Bytes& out, std::string_view type, std::string_view content) {
    put_32(out, static_cast<std::uint32_t>(content.size()));
    const std::size_t begin = out.size();
    out += type;
    out += content;
    const std::string_view body = std::string_view(out).substr(begin);
    put_32(out, static_cast<std::uint32_t>(crc32(0, bytes_of(body), static_cast<uInt>(body.size()))));
}

// Noise repeats nothing but single levels: a search for longer repeats took 2 to 15 times as long and saved
// nothing, and filtered rows were larger (stars on noise of 2 to 16 levels were tried).
Bytes packed(const Bytes& raw) {
    z_stream stream{};
    constexpr int level = 6, window_bits = 15, memory = 9;
    if (deflateInit2(&stream, level, Z_DEFLATED, window_bits, memory, Z_RLE) != Z_OK) throw std::bad_alloc();
    Bytes out(deflateBound(&stream, static_cast<uLong>(raw.size())), '\0');
    stream.next_in = const_cast<Bytef*>(bytes_of(raw));
    stream.avail_in = static_cast<uInt>(raw.size());
    stream.next_out = reinterpret_cast<Bytef*>(out.data());
    stream.avail_out = static_cast<uInt>(out.size());
    deflate(&stream, Z_FINISH);  // ends at once: there is room for all of it
    out.resize(stream.total_out);
    deflateEnd(&stream);
    return out;
}

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

std::string png_of(const GreyPicture& picture) {
    const auto width = static_cast<std::size_t>(picture.width),
               height = static_cast<std::size_t>(picture.height);
    Bytes rows;
    rows.reserve((width + 1) * height);
    for (std::size_t y = 0; y < height; ++y) {
        rows += '\0';  // no filter
        rows.append(reinterpret_cast<const char*>(picture.grey.data()) + y * width, width);
    }
    Bytes header;
    put_32(header, static_cast<std::uint32_t>(picture.width));
    put_32(header, static_cast<std::uint32_t>(picture.height));
    header.append("\x08\x00\x00\x00\x00", 5);  // 8 bits, grey
    Bytes out("\x89PNG\r\n\x1a\n", 8);
    put_chunk(out, "IHDR", header);
    put_chunk(out, "IDAT", packed(rows));
    put_chunk(out, "IEND", {});
    return out;
}

std::string data_uri(const GreyPicture& picture) {
    return "data:image/png;base64," + base64(png_of(picture));
}

}  // namespace emberline::picture
