// SPDX-License-Identifier: MIT
// frame/rice_end — whether a stream of Rice codes ends where its bytes do. Private to this room.
// cfitsio 4.2 reads on past the end of one that does not, where memory is whose it may be.
// Source: FITS standard 4.0, section 10.4.1.
#pragma once

#include <cstddef>
#include <span>

namespace emberline::frame {

struct RiceBlocks {
    std::size_t pixels = 32;          // of a block
    std::size_t bytes_per_pixel = 4;  // 1, 2, or 4
};

// Walks through the codes of so many pixels without unpacking. `blocks.pixels` is 1 or more.
[[nodiscard]] bool rice_ends(std::span<const unsigned char> bytes, std::size_t pixels,
                             const RiceBlocks& blocks);

}  // namespace emberline::frame
