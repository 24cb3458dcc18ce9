// SPDX-License-Identifier: MIT
// frame/rice — streams of Rice codes. Private to this room.
// Source: FITS standard 4.0, section 10.4.1.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace emberline::frame {

struct RiceBlocks {
    std::size_t pixels = 32;          // of a block
    std::size_t bytes_per_pixel = 4;  // 1, 2, or 4
};

// Whether a stream of so many pixels ends where its bytes do: walks through the codes without unpacking.
// cfitsio 4.2 reads on past the end of one that does not, where memory is whose it may be. `blocks.pixels` is
// 1 or more.
[[nodiscard]] bool rice_ends(std::span<const unsigned char> bytes, std::size_t pixels,
                             const RiceBlocks& blocks);

// The first ones of a stream of so many pixels, as they are stored: 0 to 255, or signed in two or four bytes.
// False where the bytes end before that; what follows is not looked at.
[[nodiscard]] bool unpack_rice(std::span<const unsigned char> bytes, std::size_t pixels,
                               const RiceBlocks& blocks, std::span<std::int32_t> first);

}  // namespace emberline::frame
