// SPDX-License-Identifier: MIT
// picture/printed_text — text as it is printed, whatever it comes on. Private to this room.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace emberline::picture {

// How many characters the bytes of UTF-8 are.
[[nodiscard]] std::size_t letters(std::string_view utf8);
// The text, cut to so many characters, the last an ellipsis where something is missing.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t most);
// Words side by side, in two lines of so many characters at most, the last ending in an ellipsis where there
// are more.
[[nodiscard]] std::vector<std::string> side_by_side(const std::vector<std::string>& words,
                                                    std::size_t most_letters);
// "B-V" with a true minus sign.
[[nodiscard]] std::string with_minus(std::string text);

}  // namespace emberline::picture
