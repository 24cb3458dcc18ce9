// SPDX-License-Identifier: MIT
#include "frame/plate_cards.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>
#include <string_view>

#include "frame/parse_header.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr const char* solve_again = "Solve the frame with a polynomial distortion (SIP or TPV), or none.";

template <std::size_t N>
bool begins(std::string_view keyword, const char* const (&beginnings)[N]) {
    return std::any_of(std::begin(beginnings), std::end(beginnings),
                       [&](const char* b) { return keyword.starts_with(b); });
}

bool tells_the_plate(std::string_view keyword) {
    static const char* const beginnings[] = {"CTYPE", "CRVAL", "CRPIX", "CUNIT", "CDELT", "CROTA", "CD1_",
                                             "CD2_",  "PC1_",  "PC2_",  "PV1_",  "PV2_",  "A_",    "B_",
                                             "AP_",   "BP_",   "CPDIS", "DP1",   "DP2"};
    static const char* const whole[] = {"RADESYS", "RADECSYS", "EQUINOX", "LONPOLE", "LATPOLE"};
    return begins(keyword, beginnings) ||
           std::any_of(std::begin(whole), std::end(whole), [&](const char* w) { return keyword == w; });
}

constexpr long long highest_sip_power = 9;  // Shupe et al. (2005), ASPC 347, 491

// p + q of a polynomial's term A_p_q, B_p_q, AP_p_q, BP_p_q; absent for anything else.
std::optional<int> sip_order(std::string_view keyword) {
    for (const std::string_view letters : {"AP_", "BP_", "A_", "B_"}) {
        if (!keyword.starts_with(letters)) continue;
        const std::string_view rest = keyword.substr(letters.size());
        const std::size_t between = rest.find('_');
        if (between == std::string_view::npos) return std::nullopt;
        const auto p = parse_integer(rest.substr(0, between)), q = parse_integer(rest.substr(between + 1));
        const auto is_power = [](long long n) { return n >= 0 && n <= highest_sip_power; };
        if (!p || !q || !is_power(*p) || !is_power(*q)) return std::nullopt;
        return static_cast<int>(*p + *q);
    }
    return std::nullopt;
}

}  // namespace

Result<std::vector<Card>> plate_cards(const Header& header) {
    for (const char* keyword : {"CTYPE1", "CTYPE2"}) {
        const std::string type = upper_case(header.text(keyword).value_or(""));
        if (!type.ends_with("-TNX") && !type.ends_with("-ZPX")) continue;
        return fail({.what = "The plate solution's distortion lies in WAT cards, which cannot be handed on.",
                     .where = fmt::format("keyword {}", keyword),
                     .mend = solve_again});
    }
    std::vector<Card> cards;
    for (const Card& card : header.cards()) {
        if (tells_the_plate(card.keyword)) cards.push_back(card);
    }
    return cards;
}

Result<std::vector<Card>> halved_plate_cards(const Header& header, double phase_x, double phase_y) {
    static const char* const tables[] = {"CPDIS", "CQDIS", "D2IM", "DP1", "DP2", "DQ1", "DQ2"};
    for (const Card& card : header.cards()) {
        if (!begins(card.keyword, tables)) continue;
        return fail({.what = "The plate solution's distortion lies in tables, which cannot be halved.",
                     .where = fmt::format("keyword {}", card.keyword),
                     .mend = solve_again});
    }
    auto cards = plate_cards(header);
    if (!cards) return cards;
    for (Card& card : *cards) {
        const auto number = parse_number(c_number(card.value));
        if (!number) continue;
        std::optional<double> halved;
        if (card.keyword == "CRPIX1") halved = (*number - phase_x + 1.0) / 2.0;
        if (card.keyword == "CRPIX2") halved = (*number - phase_y + 1.0) / 2.0;
        if (card.keyword.starts_with("CD1_") || card.keyword.starts_with("CD2_") ||
            card.keyword.starts_with("CDELT"))
            halved = 2.0 * *number;
        if (const auto order = sip_order(card.keyword)) halved = std::ldexp(*number, *order - 1);
        if (halved) card.value = fmt::format("{:.16G}", *halved);
        if (halved && card.value.find_first_of(".E") == std::string::npos) card.value += ".0";
    }
    return cards;
}

}  // namespace emberline::frame
