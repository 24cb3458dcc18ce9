// SPDX-License-Identifier: MIT
#include "night/toml_advice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "quantities/text.hpp"

namespace emberline::night {
namespace {

constexpr const char* usual = "Mend that line: text goes between quotation marks, one setting a line.";

bool has(std::string_view text, std::string_view part) {
    return text.find(part) != std::string_view::npos;
}

std::string_view line_of(std::string_view text, std::size_t line) {
    const auto lines = split(text, '\n');
    return line >= 1 && line <= lines.size() ? trimmed(lines[line - 1]) : std::string_view();
}

bool is_digits(std::string_view text) {
    return !text.empty() &&
           std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}

// "+37:16:12.0" or "13 25 21.12", with nothing around it.
bool is_sexagesimal(std::string_view value) {
    const bool signed_text = value.starts_with('+') || value.starts_with('-');
    const std::string_view bare = signed_text ? value.substr(1) : value;
    for (const char separator : {':', ' '}) {
        const auto parts = split(bare, separator);
        const bool all = parts.size() == 3 &&
                         std::all_of(parts.begin(), parts.end(),
                                     [](std::string_view part) { return parse_number(part).has_value(); });
        if (all) return true;
    }
    return false;
}

// The line's value without its remark; a '#' between quotation marks is none.
std::string_view without_remark(std::string_view value) {
    bool quoted = false;
    for (std::size_t i = 0; i < value.size(); ++i) {
        if (value[i] == '"') quoted = !quoted;
        if (value[i] == '#' && !quoted) return trimmed(value.substr(0, i));
    }
    return trimmed(value);
}

// Whole and decimal part where a comma stands between figures, and nothing else does.
std::string with_point(std::string_view value) {
    const auto comma = value.find(',');
    if (comma == std::string_view::npos || !is_digits(value.substr(comma + 1))) return {};
    std::string text(value);
    text[comma] = '.';
    return parse_number(text) ? text : std::string();
}

std::string of_the_value(std::string_view key, std::string_view value) {
    const auto write = [&](std::string_view right) { return fmt::format("Write {} = {}.", key, right); };
    if (is_sexagesimal(value)) return write(fmt::format("\"{}\"", value));
    if (const std::string point = with_point(value); !point.empty())
        return fmt::format("Decimals take a point, not a comma: {}", "w" + write(point).substr(1));
    const std::string lower = lower_case(value);
    if (lower == "true" || lower == "false") return write(lower);
    if (lower == "yes" || lower == "no") return write(lower == "yes" ? "true" : "false");
    const bool minus = value.starts_with('-') || value.starts_with('+');
    const std::string_view digits = minus ? value.substr(1) : value;
    if (parse_number(value) && digits.starts_with('.'))
        return write(fmt::format("{}0{}", minus ? value.substr(0, 1) : "", digits));
    if (parse_number(value) && digits.starts_with('0')) {
        const auto first = std::min(digits.find_first_not_of('0'), digits.size() - 1);
        return write(fmt::format("{}{}{}", minus ? value.substr(0, 1) : "", digits[first] == '.' ? "0" : "",
                                 digits.substr(first)));
    }
    const auto parts = split(value, '-');
    if (parts.size() == 3 && std::all_of(parts.begin(), parts.end(), is_digits))
        return "Write dates with two figures for month and day: 2024-02-03.";
    if (has(value, "°") || has(value, "′") || has(value, "″"))
        return "Write angles as a plain number of degrees, or as \"+37:16:12.0\" between quotation marks.";
    const auto end = value.find_first_not_of("+-0123456789.");
    if (end != std::string_view::npos && end > 0 && parse_number(value.substr(0, end)) && !has(value, "\""))
        return fmt::format("Write the number alone, without its unit: {} = {}.", key,
                           trimmed(value.substr(0, end)));
    if (!value.empty() && !has(value, "\"") && !has(value, "'") && !has(value, "[") && !has(value, "{") &&
        !has(value, "="))
        return fmt::format("Text goes between quotation marks: {} = \"{}\".", key, value);
    return usual;
}

}  // namespace

std::string toml_advice(std::string_view text, std::size_t line, std::string_view said) {
    if (has(said, "utf-8"))
        return "Save the file as UTF-8 text: letters with accents were saved in another way, or all of it.";
    if (has(said, "redefine")) return "It stands further up already: keep one of the two.";
    const std::string_view own = line_of(text, line);
    if (has(own, "“") || has(own, "”") || has(own, "„") || has(own, "‘") || has(own, "’"))
        return "The quotation marks are curly: type straight ones, \".";
    if (has(own, "\\") && (has(said, "escape") || has(said, "unicode scalar") || has(said, "hex")))
        return "A backslash begins a special character: write paths with /, or between 'single' marks.";
    if (own.starts_with("//") || own.starts_with(";") || own.starts_with("%") || own.starts_with("--"))
        return "Remarks begin with #.";
    if (std::count(own.begin(), own.end(), '"') % 2 == 1) return "A quotation mark is missing on that line.";
    if (own.starts_with('[')) return usual;
    const auto equals = own.find('=');
    if (equals == std::string_view::npos) {
        const auto colon = own.find(':');
        if (colon != std::string_view::npos && colon > 0)
            return fmt::format("Write {} = {}.", trimmed(own.substr(0, colon)),
                               without_remark(own.substr(colon + 1)));
        return "A setting is written as name = value; remarks begin with #.";
    }
    const std::string_view key = trimmed(own.substr(0, equals));
    const std::string_view value = without_remark(own.substr(equals + 1));
    if (key.find_first_of(": ") != std::string_view::npos) return usual;
    if (value.empty())
        return fmt::format("Nothing stands behind {} =: give a value, or put # before it.", key);
    const auto slashes = value.find("//");
    if (slashes != std::string_view::npos && !has(value, "://"))
        return fmt::format("Remarks begin with #: {} = {}  # …", key, trimmed(value.substr(0, slashes)));
    return of_the_value(key, value);
}

}  // namespace emberline::night
