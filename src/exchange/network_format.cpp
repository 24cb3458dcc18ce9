// SPDX-License-Identifier: MIT
#include "exchange/network_format.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "embedded/network_fields_table.hpp"
#include "embedded/network_filters_table.hpp"
#include "embedded/network_header_table.hpp"
#include "embedded/network_notes_keys_table.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

// The tables are ours and compiled in: a fault in one is our own mistake and stops the program at once.
DelimitedTable own_table(std::string_view text, std::string name) {
    auto table = parse_table(text, std::move(name));
    if (!table) throw std::logic_error(one_line(table.error()));
    return std::move(*table);
}

std::string text_of(const DelimitedTable& table, const TableRow& row, std::string_view column) {
    return row.fields.at(table.column(column).value());
}

std::optional<std::size_t> length_of(const DelimitedTable& table, const TableRow& row) {
    const auto length = parse_integer(text_of(table, row, "max_length"));
    return length ? std::optional(static_cast<std::size_t>(*length)) : std::nullopt;
}

std::vector<FieldRule> load_fields() {
    const auto table = own_table(embedded::network_fields_table, "data/network_fields.csv");
    std::vector<FieldRule> rules;
    for (const TableRow& row : table.rows) {
        rules.push_back({text_of(table, row, "name"), text_of(table, row, "title"),
                         text_of(table, row, "required") == "1", length_of(table, row)});
    }
    if (rules.size() != network_field_count) throw std::logic_error("data/network_fields.csv");
    return rules;
}

std::vector<ParameterRule> load_parameters() {
    const auto table = own_table(embedded::network_header_table, "data/network_header.csv");
    std::vector<ParameterRule> rules;
    for (const TableRow& row : table.rows) {
        ParameterRule rule{
            text_of(table, row, "name"), length_of(table, row), {}, text_of(table, row, "repeatable") == "1"};
        const std::string allowed = text_of(table, row, "allowed");
        for (const std::string_view value : split(allowed, ';')) {
            if (!value.empty()) rule.allowed.emplace_back(value);
        }
        rules.push_back(std::move(rule));
    }
    return rules;
}

std::vector<FilterCode> load_filters() {
    const auto table = own_table(embedded::network_filters_table, "data/network_filters.csv");
    std::vector<FilterCode> codes;
    for (const TableRow& row : table.rows) {
        codes.push_back({text_of(table, row, "code"), text_of(table, row, "meaning"),
                         text_of(table, row, "historical") == "1"});
    }
    return codes;
}

std::vector<std::string> load_note_keys() {
    const auto table = own_table(embedded::network_notes_keys_table, "data/network_notes_keys.csv");
    std::vector<std::string> keys;
    for (const TableRow& row : table.rows)
        keys.push_back(text_of(table, row, "key"));
    return keys;
}

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

std::optional<Decimal> number_of(const NotePairs& notes, std::string_view key) {
    for (const auto& [name, value] : notes) {
        if (same_word(name, key)) return parse_decimal(value);
    }
    return std::nullopt;
}

}  // namespace

const FieldRule& rule_of(NetworkField field) {
    static const std::vector<FieldRule> rules = load_fields();
    return rules.at(static_cast<std::size_t>(field));
}

const std::vector<ParameterRule>& parameter_rules() {
    static const std::vector<ParameterRule> rules = load_parameters();
    return rules;
}

const ParameterRule* find_parameter(std::string_view name) {
    for (const ParameterRule& rule : parameter_rules()) {
        if (same_word(rule.name, name)) return &rule;
    }
    return nullptr;
}

bool allows(const ParameterRule& parameter, std::string_view value) {
    return parameter.allowed.empty() ||
           std::any_of(parameter.allowed.begin(), parameter.allowed.end(),
                       [&](const std::string& allowed) { return same_word(allowed, value); });
}

const FilterCode* find_filter_code(std::string_view code) {
    static const std::vector<FilterCode> codes = load_filters();
    for (const FilterCode& known : codes) {
        if (same_word(known.code, code)) return &known;
    }
    return nullptr;
}

bool is_documented_note_key(std::string_view key) {
    static const std::vector<std::string> keys = load_note_keys();
    return std::any_of(keys.begin(), keys.end(), [&](const std::string& k) { return same_word(k, key); });
}

bool is_note_key(std::string_view text) {
    return !text.empty() && is_letter(text.front()) && std::all_of(text.begin(), text.end(), [](char c) {
        return is_letter(c) || is_digit(c) || c == '_';
    });
}

bool is_julian_date(double jd) {
    return jd >= 2300000.0 && jd <= 2600000.0;  // false for what is no number
}

Result<char> delimiter_character(std::string_view delimiter) {
    if (same_word(delimiter, "tab")) return '\t';
    if (same_word(delimiter, "comma")) return ',';
    const auto refuse = [](std::string what) {
        return fail({.what = std::move(what),
                     .where = "parameter #DELIM",
                     .mend = "Use a comma, a semicolon, an exclamation mark or the word tab."});
    };
    if (delimiter.size() != 1) {
        return refuse(fmt::format("The delimiter has {} characters where one is allowed.", delimiter.size()));
    }
    const char c = delimiter.front();
    if (c < 32 || c > 126) return refuse("The delimiter is not a printable ASCII character.");
    if (c == ' ' || c == '#' || c == '|') {
        return refuse(fmt::format("'{}' cannot be the delimiter: the format needs it for itself.", c));
    }
    return c;
}

bool is_missing(std::string_view text) {
    return same_word(text, "na");
}

bool same_word(std::string_view a, std::string_view b) {
    return a.size() == b.size() && upper_case(a) == upper_case(b);
}

std::optional<Decimal> parse_decimal(std::string_view text) {
    Decimal decimal;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        if (is_digit(c)) {
            if (decimal.has_point) ++decimal.decimals;
        } else if (c == '.' && !decimal.has_point) {
            decimal.has_point = true;
        } else if (!((c == '-' || c == '+') && i == 0)) {
            return std::nullopt;
        }
    }
    const auto value = parse_number(text);
    if (!value) return std::nullopt;
    decimal.value = *value;
    return decimal;
}

std::optional<IdentityMiss> check_star_identity_miss(const NotePairs& notes) {
    const auto stated = number_of(notes, "KMAGSTD");
    const auto reference = number_of(notes, "CREFMAG");
    const auto comparison = number_of(notes, "CMAGINS");
    const auto check = number_of(notes, "KMAGINS");
    if (!stated || !reference || !comparison || !check) return std::nullopt;
    const double derived = reference->value - comparison->value + check->value;
    const int decimals =
        std::min({stated->decimals, reference->decimals, comparison->decimals, check->decimals, 9});
    constexpr double binary_rounding = 1e-9;
    const double allowed = 1.5 * std::pow(10.0, -decimals) + binary_rounding;
    if (std::abs(stated->value - derived) <= allowed) return std::nullopt;
    return IdentityMiss{stated->value, derived};
}

}  // namespace emberline::exchange
