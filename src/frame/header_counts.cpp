// SPDX-License-Identifier: MIT
#include "frame/header_counts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <limits>
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

}  // namespace

std::optional<std::string> impossible_count(const ReadBlock& read, long long offset) {
    constexpr std::size_t header_block = 2880;
    std::array<char, header_block> block{};
    for (;; offset += header_block) {
        const std::string_view text(block.data(), read(offset, block));
        if (text.size() < card_length) return std::nullopt;
        for (std::size_t at = 0; at + card_length <= text.size(); at += card_length) {
            const std::string_view line = text.substr(at, card_length);
            if (line.starts_with("END     ")) return std::nullopt;
            const std::string_view keyword = trimmed(line.substr(0, 8));
            const bool side = keyword.size() > 5 && keyword.starts_with("NAXIS");
            const auto* const limit = std::find_if(limits.begin(), limits.end(),
                                                   [&](const auto& known) { return keyword == known.first; });
            if (!side && limit == limits.end()) continue;
            const Card card = parse_card(line);
            const auto count = parse_integer(card.value);
            if (count && (side || *count <= limit->second)) continue;
            return fmt::format("{} is said to be '{}'.", keyword, card.value);
        }
    }
}

}  // namespace emberline::frame
