// SPDX-License-Identifier: MIT
// tests/program/frame_bytes — FITS files spoilt byte by byte, without a FITS library.
#pragma once

#include <string>
#include <vector>

namespace emberline::testing {

inline constexpr std::size_t card_bytes = 80, block_bytes = 2880;

// The card's value replaced by this text, as it will stand in the file.
[[nodiscard]] std::string with_card(std::string fits, const std::string& keyword, const std::string& value);
[[nodiscard]] std::string without_cards(std::string fits, const std::vector<std::string>& keywords);
// A file of these cards ("NAXIS   = 2") and pixels.
[[nodiscard]] std::string fits_of(const std::vector<std::string>& cards, const std::string& pixels);
// Header and pixels of a file with one image; padding left away.
[[nodiscard]] std::string header_of(const std::string& fits);
// The same header over other pixels, whatever they are worth.
[[nodiscard]] std::string with_pixels(const std::string& fits, std::string pixels);
// Numbers as they lie in a FITS file, the most significant byte first.
[[nodiscard]] std::string pixels_of(const std::vector<float>& values);
[[nodiscard]] std::string pixels_of(const std::vector<short>& values);
[[nodiscard]] std::vector<short> shorts_of(const std::string& fits, std::size_t n);

}  // namespace emberline::testing
