// SPDX-License-Identifier: MIT
#include "quantities/text.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdint>

namespace emberline {
inline namespace quantities {
namespace {

std::string_view without_plus(std::string_view text) {
    if (text.size() > 1 && text[0] == '+' && text[1] != '-' && text[1] != '+') text.remove_prefix(1);
    return text;
}

template <class T>
std::optional<T> parse_whole(std::string_view text) {
    text = without_plus(trimmed(text));
    T value{};
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
    return value;
}

}  // namespace

bool holds_control_character(std::string_view text) {
    return std::any_of(text.begin(), text.end(),
                       [](char c) { return (c >= '\0' && c < ' ') || c == '\x7f'; });
}

std::string_view trimmed(std::string_view text) {
    constexpr std::string_view blanks = " \t\r\n";
    const auto first = text.find_first_not_of(blanks);
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(blanks) - first + 1);
}

std::string lower_case(std::string_view text) {
    std::string result(text);
    for (char& c : result) {
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    }
    return result;
}

std::string upper_case(std::string_view text) {
    std::string result(text);
    for (char& c : result) {
        if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    }
    return result;
}

std::vector<std::string_view> split(std::string_view text, char separator) {
    std::vector<std::string_view> parts;
    while (true) {
        const auto end = text.find(separator);
        parts.push_back(text.substr(0, end));
        if (end == std::string_view::npos) return parts;
        text.remove_prefix(end + 1);
    }
}

bool contains_any(std::string_view text, std::initializer_list<std::string_view> words) {
    return std::any_of(words.begin(), words.end(),
                       [&](std::string_view word) { return text.find(word) != std::string_view::npos; });
}

std::optional<double> parse_number(std::string_view text) {
    const auto value = parse_whole<double>(text);
    if (!value || !std::isfinite(*value)) return std::nullopt;
    return value;
}

std::optional<long long> parse_integer(std::string_view text) {
    return parse_whole<long long>(text);
}

bool is_plain_text(std::string_view text) {
    for (std::size_t i = 0; i < text.size();) {
        const auto c = static_cast<unsigned char>(text[i]);
        if (c == 0x7f || (c < 0x20 && c != '\t')) return false;
        std::size_t more = 0;
        std::uint32_t code = c;
        std::uint32_t least = 0;
        if (c >= 0xf0 && c <= 0xf4) {
            more = 3, code = c & 0x07U, least = 0x10000;
        } else if (c >= 0xe0 && c < 0xf0) {
            more = 2, code = c & 0x0fU, least = 0x800;
        } else if (c >= 0xc2 && c < 0xe0) {
            more = 1, code = c & 0x1fU, least = 0x80;
        } else if (c >= 0x80) {
            return false;
        }
        if (i + more >= text.size()) return false;
        for (std::size_t k = 1; k <= more; ++k) {
            const auto next = static_cast<unsigned char>(text[i + k]);
            if ((next & 0xc0U) != 0x80U) return false;
            code = (code << 6U) | (next & 0x3fU);
        }
        if (code < least || code > 0x10ffff || (code >= 0xd800 && code < 0xe000)) return false;
        i += more + 1;
    }
    return true;
}

std::size_t first_character_bytes(std::string_view text) {
    for (std::size_t bytes = 1; bytes <= 4 && bytes <= text.size(); ++bytes) {
        if (is_plain_text(text.substr(0, bytes))) return bytes;
    }
    return 0;
}

}  // namespace quantities
}  // namespace emberline
