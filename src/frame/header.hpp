// SPDX-License-Identifier: MIT
// frame/header — the cards of a FITS header, kept as written.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace emberline::frame {

struct Card {
    std::string keyword;  // "DATE-OBS"; HIERARCH keywords without the word HIERARCH
    std::string value;    // unquoted, trimmed; empty for an undefined value
    std::string comment;
    bool is_string = false;
};

class Header {
  public:
    Header() = default;
    Header(std::vector<Card> cards, std::string raw) : cards_(std::move(cards)), raw_(std::move(raw)) {}
    [[nodiscard]] const std::vector<Card>& cards() const { return cards_; }
    [[nodiscard]] const std::string& raw() const { return raw_; }  // 80-character cards, no newlines

    [[nodiscard]] const Card* find(std::string_view keyword) const;                 // first, or null
    [[nodiscard]] std::optional<std::string> text(std::string_view keyword) const;  // absent when empty
    [[nodiscard]] std::optional<double> number(std::string_view keyword) const;  // also from a string value
    [[nodiscard]] std::optional<long long> integer(std::string_view keyword) const;

  private:
    std::vector<Card> cards_;
    std::string raw_;
};

}  // namespace emberline::frame
