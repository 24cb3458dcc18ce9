// SPDX-License-Identifier: MIT
#include "frame/wcs_cards.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "frame/keyword_pattern.hpp"
#include "frame/parse_header.hpp"
#include "frame/write_frame.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr const char* solve_it = "Solve the frame's plate first, so that its header has a celestial WCS.";
constexpr double same_matrix = 1e-3;  // relative; CD and PC × CDELT of one solution differ by rounding only
constexpr double most_px = 1e7;       // of a reference pixel; farther out is a damaged header

enum class Kind { number, axis_type, unit, frame, as_written };

struct Known {
    const char* pattern;
    Kind kind;
};
// The primary description only: alternates A to Z are other people's.
constexpr std::array known{
    Known{"CTYPEi", Kind::axis_type}, Known{"CUNITi", Kind::unit},      Known{"CRPIXi", Kind::number},
    Known{"CRVALi", Kind::number},    Known{"CDELTi", Kind::number},    Known{"CROTAi", Kind::number},
    Known{"CDi_i", Kind::number},     Known{"PCi_i", Kind::number},     Known{"PVi_n", Kind::number},
    Known{"LONPOLE", Kind::number},   Known{"LATPOLE", Kind::number},   Known{"A_ORDER", Kind::number},
    Known{"B_ORDER", Kind::number},   Known{"AP_ORDER", Kind::number},  Known{"BP_ORDER", Kind::number},
    Known{"A_n_n", Kind::number},     Known{"B_n_n", Kind::number},     Known{"AP_n_n", Kind::number},
    Known{"BP_n_n", Kind::number},    Known{"RADESYS", Kind::frame},    Known{"RADECSYS", Kind::frame},
    Known{"EQUINOX", Kind::frame},    Known{"EPOCH", Kind::frame},      Known{"WATi_n", Kind::as_written},
    Known{"DPi", Kind::as_written},   Known{"CPDISi", Kind::as_written}};

Problem refuse(std::string what, std::string where, std::string mend = solve_it) {
    return {.what = std::move(what), .where = std::move(where), .mend = std::move(mend)};
}

class Solution {
  public:
    [[nodiscard]] Result<void> read(std::string_view cards);
    [[nodiscard]] Result<void> check() const;
    void mend();
    [[nodiscard]] std::string text() const;

  private:
    struct Piece {
        Card card;
        std::string line;  // as written
        Kind kind;
    };
    [[nodiscard]] const Card* find(std::string_view keyword) const;
    [[nodiscard]] bool any(std::string_view pattern) const;
    [[nodiscard]] std::optional<double> number(std::string_view keyword) const;
    [[nodiscard]] std::string axis(int i) const;
    [[nodiscard]] Result<void> check_axes() const;
    [[nodiscard]] Result<void> check_matrix() const;
    [[nodiscard]] Result<void> check_equinox() const;
    void drop(std::string_view pattern);

    std::vector<Piece> pieces_;
};

const Card* Solution::find(std::string_view keyword) const {
    const auto found = std::find_if(pieces_.begin(), pieces_.end(),
                                    [&](const Piece& piece) { return piece.card.keyword == keyword; });
    return found == pieces_.end() ? nullptr : &found->card;
}

bool Solution::any(std::string_view pattern) const {
    return std::any_of(pieces_.begin(), pieces_.end(),
                       [&](const Piece& piece) { return matches(piece.card.keyword, pattern); });
}

std::optional<double> Solution::number(std::string_view keyword) const {
    const Card* card = find(keyword);
    return card == nullptr ? std::nullopt : parse_number(card->value);
}

std::string Solution::axis(int i) const {
    const Card* card = find(fmt::format("CTYPE{}", i));
    return card == nullptr ? std::string() : card->value;
}

void Solution::drop(std::string_view pattern) {
    std::erase_if(pieces_, [&](const Piece& piece) { return matches(piece.card.keyword, pattern); });
}

Result<void> Solution::read(std::string_view cards) {
    for (std::size_t at = 0; at + card_length <= cards.size(); at += card_length) {
        const std::string_view line = cards.substr(at, card_length);
        if (line.starts_with("END     ")) break;
        if (line[8] != '=') continue;
        const std::string_view keyword = trimmed(line.substr(0, 8));
        const auto* const what = std::find_if(known.begin(), known.end(),
                                              [&](const Known& k) { return matches(keyword, k.pattern); });
        if (what == known.end()) continue;
        Piece piece{parse_card(line), std::string(line), what->kind};
        Card& card = piece.card;
        if (card.value.empty()) continue;  // undefined is as good as missing
        // Where a keyword is written twice the later one counts: solvers append. Records (DPi) are a series
        // of cards.
        if (piece.kind != Kind::as_written) drop(card.keyword);
        card.comment.clear();
        if (what->kind == Kind::number) {
            card.value = c_number(card.value);
            card.is_string = false;
            if (!parse_number(card.value)) {
                return fail(
                    refuse(fmt::format("The plate solution has '{}' where a number belongs.", card.value),
                           fmt::format("keyword {}", card.keyword)));
            }
        }
        if (what->kind == Kind::axis_type) card.value = upper_case(card.value);
        // WCSLIB knows 'deg' alone of the spellings that are met, and takes a missing unit for it.
        if (what->kind == Kind::unit && lower_case(card.value).starts_with("deg")) continue;
        pieces_.push_back(std::move(piece));
    }
    return {};
}

Result<void> Solution::check() const {
    if (auto good = check_axes(); !good) return good;
    for (const char* keyword : {"CRVAL1", "CRVAL2", "CRPIX1", "CRPIX2"}) {
        const auto value = number(keyword);
        if (!value) {
            return fail(refuse(fmt::format("The plate solution is incomplete: {} is missing.", keyword),
                               fmt::format("keyword {}", keyword)));
        }
        if (std::abs(*value) > most_px) {
            return fail(refuse(fmt::format("The plate solution has the absurd value {:g}.", *value),
                               fmt::format("keyword {}", keyword)));
        }
    }
    if (auto good = check_matrix(); !good) return good;
    for (const Piece& piece : pieces_) {
        if (piece.card.keyword.starts_with("CPDIS") && upper_case(piece.card.value) == "LOOKUP") {
            return fail(refuse("The plate solution has its distortion in a table, which is not read.",
                               fmt::format("keyword {}", piece.card.keyword),
                               "Solve the frame's plate again, with SIP or TPV distortion."));
        }
    }
    return check_equinox();
}

Result<void> Solution::check_axes() const {
    const std::string first = axis(1), second = axis(2);
    if (first.empty() || second.empty()) {
        const char* missing = !second.empty()  ? "CTYPE1 is missing"
                              : !first.empty() ? "CTYPE2 is missing"
                                               : "CTYPE1 and CTYPE2 are missing";
        return fail(refuse(fmt::format("The frame has no plate solution: {}.", missing), "WCS keywords"));
    }
    const auto is = [](const std::string& type, const char* name) {
        return type.starts_with(name) && type.size() >= 8;
    };
    if ((is(first, "RA---") && is(second, "DEC--")) || (is(first, "DEC--") && is(second, "RA---"))) return {};
    return fail(refuse(fmt::format("The frame has no plate solution in right ascension and declination: its "
                                   "axes are '{}' and '{}'.",
                                   first, second),
                       "keywords CTYPE1, CTYPE2"));
}

Result<void> Solution::check_matrix() const {
    const bool has_cd = any("CDi_i"), has_pc = any("PCi_i");
    const auto steps = std::array{number("CDELT1"), number("CDELT2")};
    if (!has_cd && (!steps[0] || !steps[1])) {
        const char* where = !steps[0] && !steps[1] ? "keywords CD1_1 … CD2_2, or CDELT1, CDELT2"
                            : !steps[0]            ? "keyword CDELT1"
                                                   : "keyword CDELT2";
        return fail(
            refuse("The plate solution has no scale: neither a CD matrix nor CDELT is complete.", where));
    }
    if (!has_cd || !has_pc) return {};
    double largest = 0.0, apart = 0.0;
    for (int i = 1; i <= 2; ++i) {
        for (int j = 1; j <= 2; ++j) {
            const double cd = number(fmt::format("CD{}_{}", i, j)).value_or(0.0);
            const double pc = number(fmt::format("PC{}_{}", i, j)).value_or(i == j ? 1.0 : 0.0);
            largest = std::max(largest, std::abs(cd));
            apart = std::max(apart, std::abs(cd - pc * steps[static_cast<std::size_t>(i - 1)].value_or(1.0)));
        }
    }
    if (apart <= same_matrix * largest) return {};
    return fail(refuse("The plate solution contradicts itself: the CD matrix and PC with CDELT differ.",
                       "keywords CD1_1 … and PC1_1 …",
                       "Remove the matrix that is out of date, or solve the frame's plate again."));
}

Result<void> Solution::check_equinox() const {
    const Card* system = find("RADESYS") != nullptr ? find("RADESYS") : find("RADECSYS");
    const std::string name = system == nullptr ? std::string() : upper_case(system->value);
    const char* mend = "Solve the plate against a catalogue in ICRS or J2000.";
    if (name.starts_with("FK4") || name == "GAPPT") {
        return fail(
            refuse(fmt::format("The plate solution is in {}, not in ICRS.", name), "keyword RADESYS", mend));
    }
    if (name == "ICRS") return {};
    const bool has_equinox = find("EQUINOX") != nullptr;
    const Card* card = has_equinox ? find("EQUINOX") : find("EPOCH");
    if (card == nullptr) return {};
    std::string written = card->value;
    if (written.starts_with('J') || written.starts_with('B')) written.erase(0, 1);
    const auto equinox = parse_number(c_number(written));
    if (!equinox || *equinox == 2000.0) return {};
    // EPOCH is the date of the exposure as often as an equinox; 1950 alone can only be the latter.
    if (!has_equinox && *equinox != 1950.0) return {};
    return fail(
        refuse(fmt::format("The plate solution is for the equinox {}, not 2000.", card->value),
               fmt::format("keyword {}", card->keyword),
               "Solve the plate against a catalogue in ICRS or J2000, or add RADESYS = 'ICRS' if it is."));
}

void Solution::mend() {
    if (any("CDi_i")) {
        for (const char* old : {"PCi_i", "CDELTi", "CROTAi"})
            drop(old);
    } else if (any("PCi_i")) {
        drop("CROTAi");
    }
    const bool sip = any("A_ORDER") || any("B_ORDER");
    const bool plain_tan = axis(1).substr(5, 3) == "TAN" && axis(2).substr(5, 3) == "TAN";
    if (!plain_tan || !any("PVi_n")) return;
    // TAN itself takes PVi_0 to PVi_4 on the axis of right ascension only. What goes beyond is the TPV
    // polynomial under TAN's name, as early solvers wrote it, unless SIP is there and the PV are its double.
    const int longitude = axis(1).starts_with("RA") ? 1 : 2;
    const bool beyond = std::any_of(pieces_.begin(), pieces_.end(), [&](const Piece& piece) {
        const std::string& keyword = piece.card.keyword;
        if (!matches(keyword, "PVi_n")) return false;
        return keyword[2] - '0' != longitude || parse_integer(keyword.substr(4)).value_or(0) > 4;
    });
    if (!beyond) return;
    if (sip) {
        drop("PVi_n");
        return;
    }
    for (Piece& piece : pieces_) {
        if (piece.kind == Kind::axis_type) piece.card.value.replace(5, 3, "TPV");
    }
}

std::string Solution::text() const {
    std::string out = card_text({.keyword = "NAXIS", .value = "2", .comment = {}, .is_string = false});
    for (const Piece& piece : pieces_) {
        if (piece.kind == Kind::frame) continue;  // judged above; nothing to calculate with
        out += piece.kind == Kind::as_written ? piece.line : card_text(piece.card);
    }
    return out;
}

}  // namespace

Result<std::string> wcs_cards(std::string_view cards) {
    Solution solution;
    if (auto good = solution.read(cards); !good) return fail(good.error());
    if (auto good = solution.check(); !good) return fail(good.error());
    solution.mend();
    return solution.text();
}

}  // namespace emberline::frame
