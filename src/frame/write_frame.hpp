// SPDX-License-Identifier: MIT
// frame/write_frame — an image of unsigned 16-bit pixels as a FITS file: for invented frames and for tests.
// An observer's frames are never written to.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

enum class Packing { plain, tiles };  // tiles: Rice, a row a tile, in an extension

// Row-major, width × height. Structural keywords are written; `cards` follow in their order. An existing file
// is replaced, whole or not at all. Problem (storage): the disk.
[[nodiscard]] Result<void> write_frame(const std::string& path, int width, int height,
                                       std::span<const std::uint16_t> adu, const std::vector<Card>& cards,
                                       Packing packing = Packing::plain);

// "DATE-OBS= '2024-02-03T21:04:05' / start of exposure", 80 characters; what does not fit is cut off.
[[nodiscard]] std::string card_text(const Card& card);

}  // namespace emberline::frame
