// SPDX-License-Identifier: MIT
// tests/fuzz/fits_sketch — FITS files as short text that can be changed line by line and stays FITS:
//   #gzip             what follows, gzipped as a whole
//   #fits             first of its lines; anything else is taken as the bytes of a file
//   KEYWORD = value   a card a line, filled up to 80 bytes; END closes the header and fills its block
//   #data N           after END: the next N bytes as they are (as many as there are), then a line's end
//   #fill N           … or N bytes of a fixed pattern, at most most_filled_bytes
//   #short N          the file ends N bytes early
// The block of the data is filled up before the next header.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace emberline::fuzz {

inline constexpr std::size_t most_filled_bytes = 1U << 18U;

[[nodiscard]] std::string fits_of(std::string_view input);

}  // namespace emberline::fuzz
