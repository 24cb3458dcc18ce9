// SPDX-License-Identifier: MIT
#include "frame/colour_pattern.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr const char* mend_pattern =
    "Write pattern = \"RGGB\" (or BGGR, GRBG, GBRG) under [instrument] in campaign.toml; pattern = \"none\" "
    "for a frame that is no mosaic.";

// Keywords that hold a pattern and nothing else.
constexpr const char* pattern_keywords[] = {"BAYERPAT", "BAYERPATTERN", "BAYRPAT",    "BAYER",
                                            "CFAPAT",   "CFAPATT",      "CFAPATTERN", "CFA-PAT"};
// … that may hold one, or the kind of camera, or a filter.
constexpr const char* other_keywords[] = {"COLORTYP", "COLORTYPE", "COLOURTYPE", "CFA",
                                          "CFATYPE",  "SENSTYPE",  "FILTER"};

// "BAYER_RGGB", "R G / G B", "gbrg": its letters.
std::string pattern_letters(std::string_view text) {
    std::string letters;
    for (const char c : upper_case(text)) {
        if (c >= 'A' && c <= 'Z') letters += c;
    }
    for (const std::string_view before : {"BAYER", "CFA"}) {
        if (letters.starts_with(before)) letters.erase(0, before.size());
    }
    return letters;
}

// Some write the first row only.
std::optional<ColourPattern> by_first_row(std::string_view letters) {
    constexpr std::array rows{std::pair("RG", "RGGB"), std::pair("BG", "BGGR"), std::pair("GR", "GRBG"),
                              std::pair("GB", "GBRG")};
    for (const auto& [row, whole] : rows) {
        if (letters == row) return parse_colour_pattern(whole);
    }
    return std::nullopt;
}

bool means_mono(std::string_view text) {
    const std::string word = lower_case(trimmed(text));
    constexpr std::string_view words[] = {"none", "mono", "monochrome", "no", "n/a", "false", "f", "0", "-"};
    return std::find(std::begin(words), std::end(words), word) != std::end(words);
}

struct Stated {
    ColourPattern pattern;
    std::string keyword;
};

Result<std::optional<Stated>> stated_pattern(const Header& header) {
    for (const char* keyword : pattern_keywords) {
        const auto text = header.text(keyword);
        if (!text) continue;
        if (means_mono(*text)) return std::optional<Stated>();
        const std::string letters = pattern_letters(*text);
        if (const auto known = parse_colour_pattern(letters)) return Stated{*known, keyword};
        if (const auto known = by_first_row(letters)) return Stated{*known, keyword};
        const bool wide = letters.find("TRANS") != std::string::npos || letters.size() > 8;
        return fail(
            {.what =
                 wide ? fmt::format("{} is '{}': only mosaics of 2 × 2 pixels are measured.", keyword, *text)
                      : fmt::format("{} is '{}', which is no pattern of a colour mosaic.", keyword, *text),
             .where = keyword,
             .mend = mend_pattern});
    }
    for (const char* keyword : other_keywords) {
        const auto text = header.text(keyword);
        if (!text) continue;
        if (const auto known = parse_colour_pattern(pattern_letters(*text))) return Stated{*known, keyword};
    }
    return std::optional<Stated>();
}

struct Offset {
    int pixels = 0;
    bool stated = false;
};

Offset read_offset(const Header& header, std::initializer_list<const char*> keywords, FrameFacts& facts) {
    for (const char* keyword : keywords) {
        if (!header.text(keyword)) continue;
        const auto number = header.number(keyword);
        if (number && *number == std::floor(*number) && std::abs(*number) < 1e6)
            return {static_cast<int>(*number), true};
        facts.remarks.push_back(
            fmt::format("{} is '{}', which is no whole number: taken as 0.", keyword, *header.text(keyword)));
    }
    return {};
}

bool odd(const Header& header, const char* keyword) {
    const auto number = header.integer(keyword);
    return number && (*number & 1) != 0;
}

// Whether what the header counts from is the sensor or the part that was read is nowhere said.
void remark_sub_frame(const Header& header, const Stated& stated, const ColourPattern& pattern,
                      FrameFacts& facts) {
    const bool columns = odd(header, "XORGSUBF"), rows = odd(header, "YORGSUBF");
    if (!columns && !rows) return;
    facts.remarks.push_back(fmt::format(
        "The sub-frame begins at an odd {}, and no XBAYROFF or YBAYROFF tells whether {} counts from the "
        "sensor: if it does, the pattern here is {}, not {}.",
        columns && rows ? "column and row"
        : columns       ? "column"
                        : "row",
        stated.keyword, pattern.shifted(columns ? 1 : 0, rows ? 1 : 0).word(), pattern.word()));
    // Red and blue exchanged leave the greens where they are: the pixels do not tell.
    if (columns && rows) facts.caveats.add(Caveat::pattern_doubtful);
}

void remark_binning(const Header& header, FrameFacts& facts) {
    const std::string digits(trimmed(header.text("BINNING").value_or("")));
    const bool binned = header.integer("XBINNING").value_or(1) > 1 ||
                        header.integer("YBINNING").value_or(1) > 1 ||
                        (!digits.empty() && digits[0] >= '2' && digits[0] <= '9');
    if (binned) {
        facts.remarks.emplace_back(
            "A binned mosaic: taken as pixels of one colour put together, which keeps the pattern; where "
            "neighbours of all colours were added no colour is left.");
    }
}

ColourPattern at_first_stored(const Header& header, const Stated& stated, FrameFacts& facts) {
    const Offset columns = read_offset(header, {"XBAYROFF", "BAYOFFX", "CFAOFFX"}, facts);
    const Offset rows = read_offset(header, {"YBAYROFF", "BAYOFFY", "CFAOFFY"}, facts);
    ColourPattern pattern = stated.pattern.shifted(columns.pixels, rows.pixels);
    const auto order = header.text("ROWORDER");
    const std::string word = lower_case(order.value_or(""));
    if (word.starts_with("bottom")) {
        const ColourPattern turned = pattern.upside_down(facts.height_px);
        if (turned != pattern) {
            facts.remarks.push_back(
                fmt::format("ROWORDER is '{}' and the number of rows is even: {} seen from the top is {} at "
                            "the first stored pixel.",
                            *order, pattern.word(), turned.word()));
        }
        pattern = turned;
    } else if (order && !word.starts_with("top")) {
        facts.remarks.push_back(
            fmt::format("ROWORDER is '{}', which is not known: taken as TOP-DOWN.", *order));
    }
    if (!columns.stated && !rows.stated) remark_sub_frame(header, stated, pattern, facts);
    return pattern;
}

Lattice square_lattice(const ColourPattern& pattern, Colour colour, int width_px, int height_px) {
    Lattice lattice;
    for (int cell = 0; cell < 4; ++cell) {
        if (pattern.at(cell & 1, cell >> 1) != colour) continue;
        lattice.x0 = cell & 1;
        lattice.y0 = cell >> 1;
    }
    lattice.ux = lattice.vy = 2;
    lattice.width_px = (width_px - lattice.x0 + 1) / 2;
    lattice.height_px = (height_px - lattice.y0 + 1) / 2;
    return lattice;
}

// Along u = (1, 1) x + y grows by two, along v = (−1, 1) x − y falls by two: the picture begins at the least
// x + y and at the greatest x − y.
Lattice turned_lattice(const ColourPattern& pattern, int width_px, int height_px) {
    const int parity = pattern.at(0, 0) == Colour::green ? 0 : 1;
    const auto largest = [parity](int bound) { return bound - ((bound ^ parity) & 1); };
    const int least_sum = parity, greatest_sum = largest(width_px + height_px - 2);
    const int greatest_difference = largest(width_px - 1);
    const int least_difference = -largest(height_px - 1);
    Lattice lattice;
    lattice.x0 = (least_sum + greatest_difference) / 2;
    lattice.y0 = (least_sum - greatest_difference) / 2;
    lattice.ux = lattice.uy = lattice.vy = 1;
    lattice.vx = -1;
    lattice.width_px = (greatest_sum - least_sum) / 2 + 1;
    lattice.height_px = (greatest_difference - least_difference) / 2 + 1;
    return lattice;
}

}  // namespace

std::string ColourPattern::word() const {
    std::string word;
    for (const Colour c : cells)
        word += c == Colour::red ? 'R' : c == Colour::green ? 'G' : 'B';
    return word;
}

ColourPattern ColourPattern::shifted(int columns, int rows) const {
    return {{at(columns, rows), at(columns + 1, rows), at(columns, rows + 1), at(columns + 1, rows + 1)}};
}

std::optional<ColourPattern> parse_colour_pattern(std::string_view word) {
    constexpr Colour r = Colour::red, g = Colour::green, b = Colour::blue;
    constexpr std::array known{ColourPattern{{r, g, g, b}}, ColourPattern{{b, g, g, r}},
                               ColourPattern{{g, r, b, g}}, ColourPattern{{g, b, r, g}}};
    const std::string upper = upper_case(trimmed(word));
    for (const ColourPattern& pattern : known) {
        if (pattern.word() == upper) return pattern;
    }
    return std::nullopt;
}

Result<std::optional<Fact<ColourPattern>>> read_colour_pattern(const Header& header,
                                                               const Instrument& instrument,
                                                               FrameFacts& facts) {
    std::optional<ColourPattern> wanted;
    const bool mono = instrument.pattern && lower_case(trimmed(*instrument.pattern)) == "none";
    if (instrument.pattern && !mono) {
        wanted = parse_colour_pattern(*instrument.pattern);
        if (!wanted) {
            return fail({.what = fmt::format("'{}' is no pattern of a colour mosaic.", *instrument.pattern),
                         .where = campaign_source("pattern"),
                         .mend = mend_pattern,
                         .kind = ProblemKind::request});
        }
    }
    auto stated = stated_pattern(header);
    if (!stated && !instrument.pattern) return fail(stated.error());
    std::optional<Fact<ColourPattern>> pattern;
    if (!instrument.pattern) {
        if (*stated) pattern = {at_first_stored(header, **stated, facts), (*stated)->keyword};
    } else {
        FrameFacts unused = facts;
        std::optional<ColourPattern> headers;
        if (stated && *stated) headers = at_first_stored(header, **stated, unused);
        if (headers && headers != wanted) {
            facts.remarks.push_back(fmt::format("{} says {}, the campaign {}: the campaign is believed.",
                                                (*stated)->keyword, headers->word(),
                                                wanted ? wanted->word() : "none"));
        }
        if (wanted) pattern = {*wanted, campaign_source("pattern")};
    }
    if (!pattern) return pattern;
    if (facts.width_px < 2 || facts.height_px < 2) {
        return fail({.what = fmt::format("A mosaic of {} × {} pixels does not hold its three colours.",
                                         facts.width_px, facts.height_px),
                     .where = pattern->source,
                     .mend = mend_pattern});
    }
    remark_binning(header, facts);
    return pattern;
}

std::array<Lattice, 3> lattices_of(const ColourPattern& pattern, int width_px, int height_px) {
    std::array<Lattice, 3> lattices{square_lattice(pattern, Colour::red, width_px, height_px),
                                    turned_lattice(pattern, width_px, height_px),
                                    square_lattice(pattern, Colour::blue, width_px, height_px)};
    for (Lattice& lattice : lattices) {
        lattice.stored_width_px = width_px;
        lattice.stored_height_px = height_px;
    }
    return lattices;
}

}  // namespace emberline::frame
