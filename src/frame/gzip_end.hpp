// SPDX-License-Identifier: MIT
// frame/gzip_end — whether a gzip stream comes to its end within its bytes. Private to this room.
// cfitsio 4.2 unpacks a tile whose stream does not end for ever, with ever more memory.
// Sources: RFC 1951 (deflate), RFC 1952 (gzip).
#pragma once

#include <span>

namespace emberline::frame {

// Walks through the code words without unpacking; false too where they break the format.
[[nodiscard]] bool gzip_ends(std::span<const unsigned char> bytes);

}  // namespace emberline::frame
