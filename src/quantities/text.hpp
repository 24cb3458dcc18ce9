// SPDX-License-Identifier: MIT
// quantities/text — the small change of reading: strict numbers, trimmed words. Locale never matters.
#pragma once

#include <cstddef>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace emberline {
inline namespace quantities {

[[nodiscard]] bool holds_control_character(std::string_view text);  // of ASCII: line ends and tabs too
[[nodiscard]] std::string_view trimmed(std::string_view text);      // spaces, tabs, CR, LF at both ends
[[nodiscard]] std::string lower_case(std::string_view text);        // ASCII only
[[nodiscard]] std::string upper_case(std::string_view text);        // ASCII only
// The pieces point into `text`, which therefore must not be a passing value.
[[nodiscard]] std::vector<std::string_view> split(std::string_view text, char separator);
std::vector<std::string_view> split(std::string&& text, char separator) = delete;

// Whether one of the words stands anywhere in the text, inside longer words too. Case counts.
[[nodiscard]] bool contains_any(std::string_view text, std::initializer_list<std::string_view> words);

// The whole text (after trimming) must be one finite number: "1.5", "-3e2", "+7". Nothing for "1.5x", "",
// "nan", "inf", "0x10".
[[nodiscard]] std::optional<double> parse_number(std::string_view text);
[[nodiscard]] std::optional<long long> parse_integer(std::string_view text);

// Whether the bytes are valid UTF-8 without control characters (tab allowed).
[[nodiscard]] bool is_plain_text(std::string_view text);
// Bytes of the character that the text begins with; 0 where it begins with none that is_plain_text() allows.
[[nodiscard]] std::size_t first_character_bytes(std::string_view text);

}  // namespace quantities
}  // namespace emberline
