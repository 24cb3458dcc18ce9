// SPDX-License-Identifier: MIT
// frame/write_frame — an image as a FITS file: invented frames, stacks made of an observer's, tests.
// An observer's own frames are never written to.
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
// Of 32-bit floating-point pixels; NaN stays undefined.
[[nodiscard]] Result<void> write_frame(const std::string& path, int width, int height,
                                       std::span<const float> adu, const std::vector<Card>& cards);

// A cube of planes, one after the other, each row-major; one plane makes an image.
[[nodiscard]] Result<void> write_cube(const std::string& path, int width, int height, int planes,
                                      std::span<const std::uint16_t> adu, const std::vector<Card>& cards);
[[nodiscard]] Result<void> write_cube(const std::string& path, int width, int height, int planes,
                                      std::span<const float> adu, const std::vector<Card>& cards);
// Of bytes, as pictures are saved.
[[nodiscard]] Result<void> write_bytes(const std::string& path, int width, int height, int planes,
                                       std::span<const std::uint8_t> levels, const std::vector<Card>& cards);

// "DATE-OBS= '2024-02-03T21:04:05' / start of exposure", 80 characters; what does not fit is cut off.
[[nodiscard]] std::string card_text(const Card& card);

}  // namespace emberline::frame
