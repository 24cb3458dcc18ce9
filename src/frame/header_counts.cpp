// SPDX-License-Identifier: MIT
#include "frame/header_counts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <string_view>
#include <utility>

#include "frame/parse_header.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr long long any_count = std::numeric_limits<long long>::max();
constexpr std::array limits{std::pair("BITPIX", any_count), std::pair("NAXIS", 99LL),
                            std::pair("ZNAXIS", 6LL),       std::pair("TFIELDS", 999LL),
                            std::pair("PCOUNT", any_count), std::pair("GCOUNT", any_count)};

// Whole numbers that cfitsio, where they are none or need more than 64 bits, puts into a message that has no
// room for them.
constexpr std::array whole_numbers{"BLANK",    "THEAP",  "ZBITPIX", "ZBLANK",
                                   "ZDITHER0", "ZNAXIS", "ZTILE",   "ZVAL"};

bool is_whole_number(std::string_view keyword) {
    const std::string_view stem = keyword.substr(0, keyword.find_last_not_of("0123456789") + 1);
    return std::any_of(whole_numbers.begin(), whole_numbers.end(),
                       [&](std::string_view known) { return keyword == known || stem == known; });
}

// Sides of a packed image and of its tiles, by which cfitsio divides.
bool is_side_of_tiles(std::string_view keyword) {
    return keyword.size() > 5 &&
           (keyword.starts_with("ZTILE") || (keyword.size() > 6 && keyword.starts_with("ZNAXIS")));
}

// What cfitsio divides by where pixels are packed in Rice's way: it takes ZVAL1 as the pixels of a block and
// ZVAL2 as the bytes of a pixel, whatever ZNAME1 and ZNAME2 call them.
class RicePacking {
  public:
    void note(std::string_view keyword, const Card& card) {
        if (keyword == "ZCMPTYPE") is_rice_ = is_rice_ || upper_case(card.value).starts_with("RICE");
        if (keyword != "ZVAL1" && keyword != "ZVAL2") return;
        const auto count = parse_integer(card.value);
        if (!wrong_ && (!count || *count < 1 || *count > most_pixels_a_block))
            wrong_ = fmt::format("{} of the packed pixels is said to be '{}'.", keyword, card.value);
    }
    [[nodiscard]] std::optional<std::string> impossible() const { return is_rice_ ? wrong_ : std::nullopt; }

  private:
    static constexpr long long most_pixels_a_block = 1 << 16;
    bool is_rice_ = false;
    std::optional<std::string> wrong_;
};

// The cards that a table's header begins with, in this order (FITS 4.0, sections 7.2.1 and 7.3.1). cfitsio
// refuses others too, but not before it has reserved room for a number of columns that it then never read.
struct Demand {
    std::string_view keyword;
    long long least, most;
};
constexpr std::array table_start{Demand{"BITPIX", 8, 8},         Demand{"NAXIS", 2, 2},
                                 Demand{"NAXIS1", 0, any_count}, Demand{"NAXIS2", 0, any_count},
                                 Demand{"PCOUNT", 0, any_count}, Demand{"GCOUNT", 1, 1},
                                 Demand{"TFIELDS", 0, 999}};

class TableStart {
  public:
    // Every card of the header, from its first.
    [[nodiscard]] std::optional<std::string> wrong(std::string_view keyword, const Card& card,
                                                   bool printable) {
        const std::size_t place = place_++;
        if (place == 0) is_table_ = keyword == "XTENSION" && card.value.find("TABLE") != std::string::npos;
        if (!is_table_ || place == 0 || place > table_start.size()) return std::nullopt;
        const Demand& demand = table_start[place - 1];
        if (keyword != demand.keyword)
            return fmt::format("{} stands where {} of a table belongs.", keyword, demand.keyword);
        const auto count = parse_integer(card.value);
        if (printable && !card.is_string && count && *count >= demand.least && *count <= demand.most)
            return std::nullopt;
        return fmt::format("{} is said to be '{}'.", keyword, card.value);
    }

  private:
    std::size_t place_ = 0;
    bool is_table_ = false;
};

// A string of 68 characters is the longest that a card can hold; cfitsio copies a column's name to where 69
// fit.
constexpr std::size_t longest_string = 68;

// As cfitsio takes it: the keyword, in capitals or not, ends at the first blank or equals sign, and the value
// begins behind that sign, wherever they stand.
std::string loosely_read(std::string_view line) {
    const auto equals = line.find('=');
    if (equals == std::string_view::npos) return std::string(line);
    const std::string keyword = upper_case(line.substr(0, line.find_first_of(" =")));
    return fmt::format("{:8}= {}", keyword, trimmed(line.substr(equals + 1)));
}

bool is_name_of_column(std::string_view keyword) {
    return keyword.starts_with("TTYPE");
}

bool is_watched(std::string_view keyword) {
    return is_name_of_column(keyword) || is_side_of_tiles(keyword) || is_whole_number(keyword);
}

// Of a watched value that no limit is known for: whether it can be taken as it is.
bool is_possible(std::string_view keyword, const Card& card) {
    if (is_name_of_column(keyword)) return card.value.size() <= longest_string;
    if (is_side_of_tiles(keyword)) {
        const auto side = parse_integer(card.value);
        return side && *side >= 1;
    }
    if (card.value.empty() && !card.is_string) return true;
    if (parse_integer(card.value)) return true;
    const auto number = parse_number(c_number(card.value));
    return number && std::abs(*number) < 0x1p63;
}

}  // namespace

std::optional<std::string> impossible_count(const ReadBlock& read, long long offset) {
    constexpr std::size_t header_block = 2880;
    std::array<char, header_block> block{};
    RicePacking packing;
    TableStart table;
    for (;; offset += header_block) {
        const std::string_view text(block.data(), read(offset, block));
        if (text.size() < card_length) return std::nullopt;
        for (std::size_t at = 0; at + card_length <= text.size(); at += card_length) {
            const std::string line = loosely_read(text.substr(at, card_length));
            if (line.starts_with("END     ")) return packing.impossible();
            const auto equals = line.find('=');
            const std::string_view keyword =
                trimmed(std::string_view(line).substr(0, equals == std::string::npos ? 8 : equals));
            const bool side = keyword.size() > 5 && keyword.starts_with("NAXIS");
            const auto* const limit = std::find_if(limits.begin(), limits.end(),
                                                   [&](const auto& known) { return keyword == known.first; });
            const Card card = parse_card(line);
            packing.note(keyword, card);
            if (auto wrong = table.wrong(keyword, card, is_printable(text.substr(at, card_length))))
                return wrong;
            const bool limited = side || limit != limits.end();
            if (!limited && !is_watched(keyword)) continue;
            // What is trimmed here, cfitsio takes for a part of the value.
            if (!holds_control_character(text.substr(at, card_length))) {
                if (!limited && is_possible(keyword, card)) continue;
                const auto count = parse_integer(card.value);
                if (limited && count && (side || *count <= limit->second)) continue;
            }
            return fmt::format("{} is said to be '{}'.", keyword, card.value);
        }
    }
}

}  // namespace emberline::frame
