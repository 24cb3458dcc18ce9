// SPDX-License-Identifier: MIT
#include "frame/header.hpp"

#include <algorithm>
#include <cmath>

#include "frame/parse_header.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

// The text of a quoted value that begins at `text[0] == '\''`, doubled quotes made single, and where it ends.
struct Quoted {
    std::string value;
    std::size_t end = 0;
};
Quoted read_quoted(std::string_view text) {
    Quoted out;
    std::size_t i = 1;
    for (; i < text.size(); ++i) {
        if (text[i] != '\'') {
            out.value += text[i];
        } else if (i + 1 < text.size() && text[i + 1] == '\'') {
            out.value += text[i++];
        } else {
            ++i;
            break;
        }
    }
    out.end = i;
    // Trailing blanks mean nothing in FITS; leading ones do, but no fact of ours has any.
    out.value = std::string(trimmed(out.value));
    return out;
}

std::string printable(std::string_view text) {
    std::string out(text);
    for (char& c : out) {
        if (static_cast<unsigned char>(c) < 0x20 || static_cast<unsigned char>(c) > 0x7e) c = '?';
    }
    return out;
}

void read_value(std::string_view rest, Card& card) {
    const std::string_view text = trimmed(rest);
    if (text.empty()) return;
    std::size_t end = 0;
    if (text.front() == '\'') {
        Quoted quoted = read_quoted(text);
        card.value = std::move(quoted.value);
        card.is_string = true;
        end = quoted.end;
    } else {
        end = std::min(text.find('/'), text.size());
        card.value = std::string(trimmed(text.substr(0, end)));
    }
    const std::size_t slash = text.find('/', end);
    if (slash != std::string_view::npos) card.comment = std::string(trimmed(text.substr(slash + 1)));
}

}  // namespace

Card parse_card(std::string_view written) {
    Card card;
    const std::string clean = printable(written);
    const std::string_view line = clean;
    constexpr std::string_view hierarch = "HIERARCH ";
    if (line.starts_with(hierarch)) {
        const std::size_t equals = line.find('=');
        if (equals != std::string_view::npos) {
            card.keyword = upper_case(trimmed(line.substr(hierarch.size(), equals - hierarch.size())));
            read_value(line.substr(equals + 1), card);
            return card;
        }
    }
    card.keyword = upper_case(trimmed(line.substr(0, 8)));
    if (line.size() > 9 && line[8] == '=') {
        read_value(line.substr(9), card);
    } else {
        card.comment = std::string(trimmed(line.substr(std::min<std::size_t>(8, line.size()))));
    }
    return card;
}

bool is_printable(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char c) { return c >= ' ' && c <= '~'; });
}

std::string c_number(std::string text) {
    std::replace(text.begin(), text.end(), 'D', 'E');
    std::replace(text.begin(), text.end(), 'd', 'e');
    return text;
}

Header parse_header(std::string raw) {
    std::vector<Card> cards;
    for (std::size_t at = 0; at < raw.size(); at += card_length) {
        const std::string_view line = std::string_view(raw).substr(at, card_length);
        Card card = parse_card(line);
        if (card.keyword == "END" && card.value.empty()) break;
        const bool goes_on = card.keyword == "CONTINUE" && !cards.empty() && cards.back().is_string &&
                             cards.back().value.ends_with('&');
        if (goes_on) {
            Card rest;
            read_value(printable(line.substr(8)), rest);
            cards.back().value.pop_back();
            cards.back().value += rest.value;
            continue;
        }
        if (!card.keyword.empty()) cards.push_back(std::move(card));
    }
    return {std::move(cards), std::move(raw)};
}

const Card* Header::find(std::string_view keyword) const {
    const auto found =
        std::find_if(cards_.begin(), cards_.end(), [&](const Card& card) { return card.keyword == keyword; });
    return found == cards_.end() ? nullptr : &*found;
}

std::optional<std::string> Header::text(std::string_view keyword) const {
    const Card* card = find(keyword);
    if (card == nullptr || card->value.empty()) return std::nullopt;
    return card->value;
}

std::optional<double> Header::number(std::string_view keyword) const {
    const Card* card = find(keyword);
    if (card == nullptr) return std::nullopt;
    return parse_number(c_number(card->value));
}

std::optional<long long> Header::integer(std::string_view keyword) const {
    // A double would round the 64-bit integers that BLANK may be.
    if (const Card* card = find(keyword); card != nullptr) {
        if (const auto exact = parse_integer(card->value)) return exact;
    }
    const auto value = number(keyword);
    if (!value || *value != std::floor(*value) || std::abs(*value) > 9e15) return std::nullopt;
    return static_cast<long long>(*value);
}

}  // namespace emberline::frame
