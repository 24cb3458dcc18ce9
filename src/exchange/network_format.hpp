// SPDX-License-Identifier: MIT
// exchange/network_format — what the network's "Extended" format says of itself, for its writer and its
// validator alike. From data/network_*.csv, which name their sources. Private to this room.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::exchange {

// The fields of a line in their order.
enum class NetworkField {
    star,
    date,
    magnitude,
    err,
    filter,
    transformed,
    magnitude_type,
    comparison_name,
    comparison_mag,
    check_name,
    check_mag,
    airmass,
    group,
    chart,
    notes,
};
inline constexpr std::size_t network_field_count = 15;

struct FieldRule {
    std::string name, title;  // "MAGNITUDE" in the specification, "MAG" in the usual line of titles
    bool required = false;    // else `na` may stand for a value that is missing
    std::optional<std::size_t> max_length;
};
[[nodiscard]] const FieldRule& rule_of(NetworkField field);

// A parameter of the header: #NAME=value.
struct ParameterRule {
    std::string name;
    std::optional<std::size_t> max_length;
    std::vector<std::string> allowed;  // empty: anything
    bool repeatable = false;           // may come again between the lines of data
};
[[nodiscard]] const std::vector<ParameterRule>& parameter_rules();
[[nodiscard]] const ParameterRule* find_parameter(std::string_view name);  // any case
[[nodiscard]] bool allows(const ParameterRule& parameter, std::string_view value);

struct FilterCode {
    std::string code, meaning;
    bool historical = false;  // obsolete: not for new reports
};
[[nodiscard]] const FilterCode* find_filter_code(std::string_view code);  // any case

using NotePairs = std::vector<std::pair<std::string, std::string>>;
[[nodiscard]] bool is_documented_note_key(std::string_view key);  // any case
[[nodiscard]] bool is_note_key(std::string_view text);            // a word that can stand before '='

// The published length of NOTES is "several thousand" characters: the least that this can mean.
inline constexpr std::size_t most_note_characters = 2000;

// Whole Julian dates that an observation can have: 1585 to 2406. A modified Julian date is far outside.
[[nodiscard]] bool is_julian_date(double jd);

// ',' of ",", '\t' of "tab", ',' of "comma". Problem: no single character of 32 to 126, or one that the
// format needs for itself: '#', the blank and '|'.
[[nodiscard]] Result<char> delimiter_character(std::string_view delimiter);

[[nodiscard]] bool is_missing(std::string_view text);                  // "na", any case
[[nodiscard]] bool same_word(std::string_view a, std::string_view b);  // ASCII case aside

// A plain decimal number: digits, one sign, one point; no exponent.
struct Decimal {
    double value = 0.0;
    bool has_point = false;
    int decimals = 0;
};
[[nodiscard]] std::optional<Decimal> parse_decimal(std::string_view text);

// The published identity KMAGSTD = CREFMAG − CMAGINS + KMAGINS, where the four keys are there and numbers.
// The parts are rounded before they are printed: 1.5 units of the last digit of the coarsest are allowed.
struct IdentityMiss {
    double stated_mag = 0.0;   // KMAGSTD as written
    double derived_mag = 0.0;  // from the other three
};
[[nodiscard]] std::optional<IdentityMiss> check_star_identity_miss(const NotePairs& notes);

}  // namespace emberline::exchange
