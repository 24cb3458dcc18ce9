// SPDX-License-Identifier: MIT
#include "frame/replace_plate.hpp"

#include <fitsio.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>

#include "frame/keyword_pattern.hpp"
#include "frame/parse_header.hpp"
#include "frame/write_frame.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr std::size_t block = 2880;
constexpr std::size_t history_room = 72;  // characters after the keyword

// Of any number of axes: a third one of a colour cube would contradict WCSAXES = 2.
constexpr std::array described{"WCSAXES", "WCSNAME", "CTYPEn", "CUNITn",  "CRVALn",  "CRPIXn",  "CDELTn",
                               "CROTAn",  "CDn_n",   "PCn_n",  "CDn",     "PCn",     "PVn_n",   "PSn_n",
                               "CNAMEn",  "CRDERn",  "CSYERn", "LONPOLE", "LATPOLE", "RADESYS", "EQUINOX",
                               "CPDISn",  "CQDISn",  "CPERRn", "CQERRn",  "DPn",     "DQn",     "DVERR"};
// Without alternates: what came before them or beside the standard, also of scanned sky plates, whose
// polynomials (any one of their keywords is enough) readers prefer to anything else. ZHECKSUM is of the
// unpacked header.
constexpr std::array primary_alone{
    "RADECSYS", "EPOCH",   "A_ORDER", "B_ORDER",  "AP_ORDER", "BP_ORDER", "A_n_n",  "B_n_n",
    "AP_n_n",   "BP_n_n",  "A_DMAX",  "B_DMAX",   "AP_DMAX",  "BP_DMAX",  "WATn_n", "WCSDIM",
    "AXISCORR", "D2IMEXT", "D2IMARR", "D2IMDISn", "D2IMERRn", "D2IM1",    "D2IM2",  "AMDXn",
    "AMDYn",    "PPOn",    "CNPIXn",  "XPIXELSZ", "YPIXELSZ", "PLTRAH",   "PLTRAM", "PLTRAS",
    "PLTDECSN", "PLTDECD", "PLTDECM", "PLTDECS",  "ZHECKSUM"};

template <std::size_t N>
bool any_matches(std::string_view keyword, const std::array<const char*, N>& patterns) {
    return std::any_of(patterns.begin(), patterns.end(),
                       [&](const char* pattern) { return matches(keyword, pattern); });
}

// "DP1" of "DP1.EXTVER", a record in one keyword.
std::string_view stem(std::string_view keyword) {
    return keyword.substr(0, keyword.find('.'));
}

// The letter of an alternate description's keyword, ' ' of a primary's; nothing of other keywords.
std::optional<char> description_of(std::string_view keyword) {
    const std::string_view name = stem(keyword);
    if (any_matches(name, described) || any_matches(name, primary_alone)) return ' ';
    const bool lettered = name.size() > 1 && name.back() >= 'A' && name.back() <= 'Z';
    if (lettered && any_matches(name.substr(0, name.size() - 1), described)) return name.back();
    return std::nullopt;
}

// "RA---TAN", "GLON-CAR", "xyLT-…": the names of Calabretta & Greisen (2002), section 3.1.
bool is_of_the_sky(const std::string& type) {
    const std::string upper = upper_case(type);
    if (upper.starts_with("RA") || upper.starts_with("DEC")) return true;
    const std::string_view name = std::string_view(upper).substr(0, 4);
    return name.size() == 4 && (name.substr(1) == "LON" || name.substr(1) == "LAT" ||
                                name.substr(2) == "LN" || name.substr(2) == "LT");
}

bool begins_a_header(std::string_view keyword) {
    constexpr std::array mandatory{"SIMPLE", "XTENSION", "BITPIX", "NAXIS",
                                   "NAXISn", "PCOUNT",   "GCOUNT", "TFIELDS"};
    return any_matches(keyword, mandatory);
}

class Cards {
  public:
    explicit Cards(std::string_view header) {
        for (std::size_t at = 0; at + card_length <= header.size(); at += card_length) {
            const std::string_view line = header.substr(at, card_length);
            if (line.starts_with("END     ")) break;
            lines_.emplace_back(line);
            cards_.push_back(parse_card(line));
        }
        for (const Card& card : cards_) {
            const auto letter = description_of(card.keyword);
            if (letter && *letter != ' ' && card.keyword.starts_with("CTYPE") && is_of_the_sky(card.value))
                of_the_sky_ += *letter;
        }
    }

    [[nodiscard]] std::string with(const std::vector<Card>& fresh,
                                   const std::vector<std::string>& history) const {
        std::string out, put;
        for (const Card& card : fresh)
            put += card_text(card);
        const std::size_t place = first_described();
        bool going = false;
        for (std::size_t i = 0; i < lines_.size(); ++i) {
            if (i == place) out += put;
            // What a long text of a card that goes is continued in goes too.
            going = goes(cards_[i], fresh) || (going && cards_[i].keyword == "CONTINUE");
            if (!going) out += lines_[i];
        }
        if (place >= lines_.size()) out += put;
        for (const std::string& text : history)
            out += history_cards(text);
        out += fmt::format("{:<80}", "END");
        out.resize((out.size() + block - 1) / block * block, ' ');
        return out;
    }

    [[nodiscard]] const Card* find(std::string_view keyword) const {
        const auto found = std::find_if(cards_.begin(), cards_.end(),
                                        [&](const Card& card) { return card.keyword == keyword; });
        return found == cards_.end() ? nullptr : &*found;
    }

  private:
    [[nodiscard]] bool goes(const Card& card, const std::vector<Card>& fresh) const {
        const auto letter = description_of(card.keyword);
        if (letter && (*letter == ' ' || of_the_sky_.find(*letter) != std::string::npos)) return true;
        return std::any_of(fresh.begin(), fresh.end(),
                           [&](const Card& other) { return other.keyword == card.keyword; });
    }

    // WCSAXES must stand before all else that describes the axes.
    [[nodiscard]] std::size_t first_described() const {
        std::size_t start = 0;
        while (start < cards_.size() && begins_a_header(cards_[start].keyword))
            ++start;
        while (start < cards_.size() && !description_of(cards_[start].keyword))
            ++start;
        return start;
    }

    static std::string history_cards(std::string_view text) {
        std::string out;
        while (!text.empty()) {
            std::size_t n = std::min(text.size(), history_room);
            if (n < text.size()) {
                const std::size_t blank = text.rfind(' ', n);
                if (blank != std::string_view::npos && blank > 0) n = blank;
            }
            out += card_text({.keyword = "HISTORY",
                              .value = {},
                              .comment = std::string(text.substr(0, n)),
                              .is_string = false});
            text = trimmed(text.substr(n));
        }
        return out;
    }

    std::vector<std::string> lines_;
    std::vector<Card> cards_;
    std::string of_the_sky_;  // letters of alternates
};

// Ones' complement sum of 32-bit words, the most significant byte first (FITS standard 4.0, appendix J).
std::uint32_t word_sum(std::string_view blocks) {
    std::uint64_t sum = 0;
    for (std::size_t at = 0; at + 4 <= blocks.size(); at += 4) {
        std::uint32_t word = 0;
        for (std::size_t k = 0; k < 4; ++k)
            word = (word << 8U) | static_cast<unsigned char>(blocks[at + k]);
        sum += word;
    }
    while (sum >> 32U != 0)
        sum = (sum & 0xffffffffU) + (sum >> 32U);
    return static_cast<std::uint32_t>(sum);
}

std::string checksum_card(const std::string& value, const std::string& comment) {
    return card_text({.keyword = "CHECKSUM", .value = value, .comment = comment, .is_string = true});
}

// The header's words shall sum up to what they did before: whether the whole then adds up to zero is decided
// by the pixels alone, as before.
void keep_sum(std::string& header, std::uint32_t before, const Card& former) {
    const std::size_t at = header.find("CHECKSUM=");
    if (at == std::string::npos || at % card_length != 0) return;
    header.replace(at, card_length, checksum_card(std::string(16, '0'), former.comment));
    std::uint64_t missing = std::uint64_t{before} + static_cast<std::uint32_t>(~word_sum(header));
    missing = (missing & 0xffffffffU) + (missing >> 32U);
    std::array<char, 17> encoded{};
    fits_encode_chksum(missing, 0, encoded.data());
    header.replace(at, card_length, checksum_card(encoded.data(), former.comment));
}

}  // namespace

std::string with_another_plate(std::string_view header, const std::vector<Card>& cards,
                               const std::vector<std::string>& history) {
    const Cards former(header);
    std::string out = former.with(cards, history);
    const Card* checksum = former.find("CHECKSUM");
    if (checksum != nullptr && !checksum->value.empty()) keep_sum(out, word_sum(header), *checksum);
    return out;
}

}  // namespace emberline::frame
