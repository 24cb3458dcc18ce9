// SPDX-License-Identifier: MIT
#include "frame/tile_header.hpp"

#include <algorithm>
#include <array>

#include "frame/parse_header.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr std::string_view digits = "0123456789";

// "TFORM12" of "TFORM": the stem, and a number or nothing.
bool numbered(std::string_view keyword, std::string_view stem) {
    return keyword.starts_with(stem) &&
           keyword.substr(stem.size()).find_first_not_of(digits) == std::string_view::npos;
}

// Of the table, not of the image in it.
bool belongs_to_the_table(std::string_view keyword) {
    constexpr std::array stems{"XTENSION", "BITPIX", "NAXIS",    "PCOUNT", "GCOUNT", "TFIELDS",
                               "TTYPE",    "TFORM",  "TUNIT",    "TDIM",   "TNULL",  "TSCAL",
                               "TZERO",    "THEAP",  "CHECKSUM", "DATASUM"};
    return std::any_of(stems.begin(), stems.end(), [&](const char* stem) { return numbered(keyword, stem); });
}

// How the packing was done, which is cfitsio's business.
bool tells_of_packing(std::string_view keyword) {
    constexpr std::array stems{"ZIMAGE",   "ZSIMPLE",  "ZTENSION", "ZPCOUNT",  "ZGCOUNT",  "ZTILE",
                               "ZCMPTYPE", "ZNAME",    "ZVAL",     "ZMASKCMP", "ZQUANTIZ", "ZDITHER0",
                               "ZHECKSUM", "ZDATASUM", "ZBLOCKED", "ZSCALE",   "ZZERO",    "ZEXTEND"};
    return std::any_of(stems.begin(), stems.end(), [&](const char* stem) { return numbered(keyword, stem); });
}

}  // namespace

std::string header_of_unpacked(std::string_view table) {
    std::string out = "SIMPLE  =                    T";
    out.resize(card_length, ' ');
    for (std::size_t at = 0; at + card_length <= table.size(); at += card_length) {
        std::string card(table.substr(at, card_length));
        const std::string keyword(trimmed(std::string_view(card).substr(0, 8)));
        if (belongs_to_the_table(keyword) || tells_of_packing(keyword)) continue;
        const bool renamed = keyword == "ZBITPIX" || keyword == "ZBLANK" || numbered(keyword, "ZNAXIS");
        // ZNAXIS1 is the image's NAXIS1.
        if (renamed) card.replace(0, 8, (keyword.substr(1) + "        ").substr(0, 8));
        out += card;
    }
    return out;
}

}  // namespace emberline::frame
