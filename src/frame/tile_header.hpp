// SPDX-License-Identifier: MIT
// frame/tile_header — the header that a tile-compressed image has once unpacked. Private to this room.
// Source: FITS standard 4.0, section 10.1. cfitsio's own way there sets up the whole unpacked image.
#pragma once

#include <string>
#include <string_view>

namespace emberline::frame {

// `table`: the cards of the binary table that holds the tiles.
[[nodiscard]] std::string header_of_unpacked(std::string_view table);

}  // namespace emberline::frame
