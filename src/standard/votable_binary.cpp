// SPDX-License-Identifier: MIT
#include "standard/votable_binary.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>
#include <optional>

#include "quantities/text.hpp"

namespace emberline::standard {
namespace {

constexpr double no_number = std::numeric_limits<double>::quiet_NaN();
constexpr long long most_in_a_cell = 100'000'000;
constexpr const char* fetch_again_or_as_text =
    "Fetch the table again, or ask the service for the form TABLEDATA.";

std::optional<std::size_t> bytes_of(const std::string& datatype) {
    constexpr std::array<std::pair<std::string_view, std::size_t>, 11> sizes{{{"boolean", 1},
                                                                              {"unsignedByte", 1},
                                                                              {"short", 2},
                                                                              {"int", 4},
                                                                              {"long", 8},
                                                                              {"char", 1},
                                                                              {"unicodeChar", 2},
                                                                              {"float", 4},
                                                                              {"double", 8},
                                                                              {"floatComplex", 8},
                                                                              {"doubleComplex", 16}}};
    for (const auto& [name, size] : sizes) {
        if (name == datatype) return size;
    }
    return std::nullopt;
}

// How a cell lies in its row. Bits are packed into bytes.
struct Layout {
    std::size_t bytes_of_one = 0;
    std::size_t fixed = 1;  // so many, or so many times what a count in the row says
    bool variable = false, bits = false;
};

std::optional<Layout> layout_of(const CellType& type) {
    Layout layout;
    layout.bits = type.datatype == "bit";
    const auto size = layout.bits ? std::size_t{1} : bytes_of(type.datatype);
    if (!size) return std::nullopt;
    layout.bytes_of_one = *size;
    const std::string_view shape = trimmed(type.arraysize);
    if (shape.empty()) return layout;
    layout.variable = shape.ends_with('*');
    const auto sides = split(shape, 'x');
    for (std::size_t i = 0; i < sides.size(); ++i) {
        // "12*" is a count of at most 12, whose number stands in the row.
        if (i + 1 == sides.size() && layout.variable) break;
        const auto side = parse_integer(sides[i]);
        if (!side || *side < 0 || *side > most_in_a_cell) return std::nullopt;
        layout.fixed *= static_cast<std::size_t>(*side);
        if (layout.fixed > most_in_a_cell) return std::nullopt;
    }
    return layout;
}

std::uint64_t big_endian(std::string_view bytes) {
    std::uint64_t value = 0;
    for (const char c : bytes)
        value = (value << 8U) | static_cast<unsigned char>(c);
    return value;
}

std::int64_t signed_number(std::string_view bytes) {
    const unsigned unused = 64U - 8U * static_cast<unsigned>(bytes.size());
    return static_cast<std::int64_t>(big_endian(bytes) << unused) >> unused;
}

// Text up to a NUL. Letters of two bytes as UTF-8; halves of pairs, which no name of a star has, as '?'.
std::string text_cell(std::string_view bytes, bool wide) {
    if (!wide) return std::string(trimmed(bytes.substr(0, std::min(bytes.find('\0'), bytes.size()))));
    std::string out;
    for (std::size_t i = 0; i + 1 < bytes.size(); i += 2) {
        const auto code = static_cast<unsigned>(big_endian(bytes.substr(i, 2)));
        if (code == 0) break;
        if (code < 0x80U) {
            out += static_cast<char>(code);
        } else if (code < 0x800U) {
            out += static_cast<char>(0xc0U | (code >> 6U));
            out += static_cast<char>(0x80U | (code & 0x3fU));
        } else if (code >= 0xd800U && code < 0xe000U) {
            out += '?';
        } else {
            out += static_cast<char>(0xe0U | (code >> 12U));
            out += static_cast<char>(0x80U | ((code >> 6U) & 0x3fU));
            out += static_cast<char>(0x80U | (code & 0x3fU));
        }
    }
    return std::string(trimmed(out));
}

// The standard puts a single bit first in its byte, some writers elsewhere in it: the others are zeros.
const char* truth_cell(char byte, const std::string& datatype) {
    if (datatype == "bit") return byte != '\0' ? "1" : "0";
    if (byte == 'T' || byte == 't' || byte == '1') return "1";
    return byte == 'F' || byte == 'f' || byte == '0' ? "0" : "";
}

void append(RawColumn& column, const CellType& type, std::string_view bytes, bool is_none) {
    if (type.is_text()) {
        column.texts.push_back(is_none ? "" : text_cell(bytes, type.datatype == "unicodeChar"));
        return;
    }
    if (type.is_truth()) {
        column.texts.emplace_back(is_none || bytes.empty() ? "" : truth_cell(bytes.front(), type.datatype));
        return;
    }
    double value = no_number;
    std::string digits;
    // An array or a complex number is no one value, though some of its bytes would make one.
    if (is_none || bytes.empty() || !type.is_number()) {
    } else if (type.datatype == "double") {
        value = std::bit_cast<double>(big_endian(bytes));
    } else if (type.datatype == "float") {
        value = static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(big_endian(bytes))));
    } else {
        const std::int64_t whole = type.datatype == "unsignedByte"
                                       ? static_cast<std::int64_t>(big_endian(bytes))
                                       : signed_number(bytes);
        if (parse_integer(type.null) != whole) {
            value = static_cast<double>(whole);
            if (type.datatype == "long") digits = fmt::format("{}", whole);
        }
    }
    column.numbers.push_back(std::isfinite(value) ? value : no_number);
    if (type.datatype == "long") column.texts.push_back(std::move(digits));
}

}  // namespace

bool CellType::is_number() const {
    const bool one = trimmed(arraysize).empty() || trimmed(arraysize) == "1";
    constexpr std::array numbers{"unsignedByte", "short", "int", "long", "float", "double"};
    return one && std::find(numbers.begin(), numbers.end(), datatype) != numbers.end();
}

bool CellType::is_truth() const {
    const bool one = trimmed(arraysize).empty() || trimmed(arraysize) == "1";
    return one && (datatype == "boolean" || datatype == "bit");
}

Result<std::string> decode_base64(std::string_view text) {
    constexpr std::string_view letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::array<int, 256> value{};
    value.fill(-1);
    for (std::size_t i = 0; i < letters.size(); ++i)
        value[static_cast<unsigned char>(letters[i])] = static_cast<int>(i);
    std::string out;
    out.reserve(text.size() / 4 * 3);
    std::uint32_t bits = 0;
    std::size_t held = 0, padding = 0;
    for (const char c : text) {
        if (c == ' ' || c == '\n' || c == '\r' || c == '\t') continue;
        if (c == '=') {
            ++padding;
            continue;
        }
        const int six = value[static_cast<unsigned char>(c)];
        if (six < 0 || padding > 0) {
            return fail(
                {.what = "The table's bytes are not written as base64.", .mend = fetch_again_or_as_text});
        }
        bits = (bits << 6U) | static_cast<std::uint32_t>(six);
        if (++held < 4) continue;
        for (const unsigned shift : {16U, 8U, 0U})
            out += static_cast<char>((bits >> shift) & 0xffU);
        bits = 0, held = 0;
    }
    if (held == 1 || (held > 0 && held + padding != 4) || (held == 0 && padding > 0)) {
        return fail({.what = "The table's bytes are cut short: the base64 text ends within a group of four.",
                     .mend = fetch_again_or_as_text});
    }
    if (held == 2) out += static_cast<char>((bits >> 4U) & 0xffU);
    if (held == 3) {
        out += static_cast<char>((bits >> 10U) & 0xffU);
        out += static_cast<char>((bits >> 2U) & 0xffU);
    }
    return out;
}

Result<void> take_binary_rows(std::string_view bytes, bool masked, const std::vector<CellType>& types,
                              const std::vector<std::size_t>& wanted, RawCatalogue& out) {
    std::vector<Layout> layouts;
    for (std::size_t i = 0; i < types.size(); ++i) {
        const auto layout = layout_of(types[i]);
        if (!layout) {
            return fail({.what = fmt::format("The type '{}' with the size '{}' is none that a VOTable has.",
                                             types[i].datatype, types[i].arraysize),
                         .where = fmt::format("column '{}'", out.columns[i].name),
                         .mend = fetch_again_or_as_text});
        }
        layouts.push_back(*layout);
    }
    std::vector<bool> is_wanted(types.size(), false);
    for (const std::size_t column : wanted)
        is_wanted[column] = true;
    const std::size_t mask_bytes = masked ? (types.size() + 7) / 8 : 0;
    std::size_t at = 0;
    const auto cut = [&] {
        return fail({.what = fmt::format("The table's bytes end within row {}.", out.rows + 1),
                     .mend = fetch_again_or_as_text});
    };
    while (at < bytes.size()) {
        const std::size_t row_start = at;
        if (bytes.size() - at < mask_bytes) return cut();
        const std::string_view mask = bytes.substr(at, mask_bytes);
        at += mask_bytes;
        for (std::size_t i = 0; i < types.size(); ++i) {
            std::size_t count = layouts[i].fixed;
            if (layouts[i].variable) {
                if (bytes.size() - at < 4) return cut();
                const auto times = static_cast<std::size_t>(big_endian(bytes.substr(at, 4)));
                at += 4;
                // Below 2³² × 10⁸ × 16: no overflow.
                count *= times;
            }
            const std::size_t length = layouts[i].bits ? (count + 7) / 8 : count * layouts[i].bytes_of_one;
            if (bytes.size() - at < length) return cut();
            if (is_wanted[i]) {
                const bool is_none =
                    masked && ((static_cast<unsigned char>(mask[i / 8]) >> (7U - i % 8)) & 1U) != 0;
                append(out.columns[i], types[i], bytes.substr(at, length), is_none);
            }
            at += length;
        }
        if (at == row_start) return cut();
        if (++out.rows > most_catalogue_rows) {
            return fail({.what = fmt::format("The table has more than {} rows.", most_catalogue_rows),
                         .mend = "Ask for a smaller field, or for brighter stars only."});
        }
    }
    return {};
}

}  // namespace emberline::standard
