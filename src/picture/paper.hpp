// SPDX-License-Identifier: MIT
// picture/paper — the colours that every picture shares (design, section 6). Private to this room.
#pragma once

namespace emberline::picture {

inline constexpr const char* paper = "#fdfcf8";
inline constexpr const char* ink = "#2b2f33";
inline constexpr const char* slate = "#5f6b76";
inline constexpr const char* faint_line = "#e6e2d8";
inline constexpr const char* ember = "#e4572e";  // the transient

}  // namespace emberline::picture
