// SPDX-License-Identifier: MIT
// frame/file_marks — the first bytes of the files that hold frames and tables.
// Source: FITS standard 4.0, section 4.4.1 (the first keyword, in fixed format); RFC 1952 (gzip),
// section 2.3.1.
#pragma once

#include <string_view>

namespace emberline::frame {

inline constexpr std::string_view fits_mark = "SIMPLE  =";
inline constexpr std::string_view gzip_mark = "\x1f\x8b";

}  // namespace emberline::frame
