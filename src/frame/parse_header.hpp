// SPDX-License-Identifier: MIT
// frame/parse_header — from 80-character cards to a Header. Never fails: what is no card is kept as a
// comment, and bytes that no header may have are shown as question marks.
// Source: FITS standard 4.0, section 4.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

#include "frame/header.hpp"

namespace emberline::frame {

inline constexpr std::size_t card_length = 80;

[[nodiscard]] Header parse_header(std::string raw);

// One card by itself; a string that goes on in the next card ends with '&'.
[[nodiscard]] Card parse_card(std::string_view line);

// Other bytes have no place in a header (FITS 4.0, section 3.3.2); cfitsio takes none of them for a blank.
[[nodiscard]] bool is_printable(std::string_view text);

// The same number as C++ writes it: Fortran's double precision 1.5D3 becomes 1.5E3.
[[nodiscard]] std::string c_number(std::string text);

}  // namespace emberline::frame
