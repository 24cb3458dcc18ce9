// SPDX-License-Identifier: MIT
#include "picture/printed_text.hpp"

#include <algorithm>

namespace emberline::picture {

std::size_t letters(std::string_view utf8) {
    return static_cast<std::size_t>(std::count_if(
        utf8.begin(), utf8.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0u) != 0x80u; }));
}

std::string shortened(std::string_view text, std::size_t most) {
    if (letters(text) <= most) return std::string(text);
    std::size_t end = 0, kept = 0;
    while (end < text.size()) {
        if ((static_cast<unsigned char>(text[end]) & 0xC0u) != 0x80u && ++kept == most) break;
        ++end;
    }
    return std::string(text.substr(0, end)) + "…";
}

std::vector<std::string> side_by_side(const std::vector<std::string>& words, std::size_t most_letters) {
    std::vector<std::string> lines;
    for (const std::string& one : words) {
        if (!lines.empty() && letters(lines.back()) + letters(one) + 4 <= most_letters) {
            lines.back() += "    " + one;
        } else if (lines.size() < 2) {
            lines.push_back(shortened(one, most_letters));
        } else {
            lines.back() += " …";
            break;
        }
    }
    return lines;
}

std::string with_minus(std::string text) {
    for (std::size_t at = text.find('-'); at != std::string::npos; at = text.find('-', at))
        text.replace(at, 1, "−");
    return text;
}

}  // namespace emberline::picture
