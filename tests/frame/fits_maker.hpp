// SPDX-License-Identifier: MIT
// FITS files for the tests: byte by byte, so that they may be as wrong as they like, and through cfitsio, so
// that another program's idea of every pixel type and packing is read.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "temporary_folder.hpp"

namespace emberline::frame::testing {

using Folder = test::TemporaryFolder;

[[nodiscard]] std::string bytes_of(const std::string& path);

// Lines as they stand, each filled up to 80 characters; no END.
[[nodiscard]] std::string cards(const std::vector<std::string>& lines);
// Cards, END, and blanks up to a multiple of 2880 bytes.
[[nodiscard]] std::string header_block(const std::vector<std::string>& lines);
// Zeros up to a multiple of 2880 bytes.
[[nodiscard]] std::string data_block(std::string bytes);
template <class Bits>
std::string big_endian(const std::vector<Bits>& values) {
    std::string out;
    for (const Bits v : values) {
        for (int shift = static_cast<int>(sizeof(Bits)) * 8 - 8; shift >= 0; shift -= 8)
            out += static_cast<char>((static_cast<std::uint64_t>(v) >> static_cast<unsigned>(shift)) & 0xffU);
    }
    return out;
}

// A TAN solution around (100°, 20°), 3.6″ a pixel.
[[nodiscard]] std::vector<std::string> plain_solution();

enum class Packing { none, rice, gzip, gzip_shuffled, hcompress, plio };

struct Written {
    int type = 16;  // as cfitsio names types: BYTE_IMG, USHORT_IMG …
    Packing packing = Packing::none;
    bool in_extension = false;
    int planes = 1;
    int tile_width = 0, tile_height = 0;  // 0: as cfitsio likes
};

inline constexpr int written_width = 61, written_height = 47;
// The pixel that write_by_library puts at (x, y) of a plane: exact in every type that has 8 bits or more.
[[nodiscard]] double written_pixel(int plane, int x, int y);
void write_by_library(const std::string& path, const Written& what);

}  // namespace emberline::frame::testing
