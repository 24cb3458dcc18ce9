// SPDX-License-Identifier: MIT
// frame/keyword_pattern — families of numbered keywords. Private to this room.
#pragma once

#include <string_view>

namespace emberline::frame {

// In a pattern, i is 1 or 2, n a number of any length, the rest itself: "CTYPEi", "PVi_n".
[[nodiscard]] bool matches(std::string_view keyword, std::string_view pattern);

}  // namespace emberline::frame
