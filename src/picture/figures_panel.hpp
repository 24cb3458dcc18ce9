// SPDX-License-Identifier: MIT
// picture/figures_panel — the column right of the panels: what the symbols mean, and the figures read off the
// curve.
#pragma once

#include <string>
#include <vector>

#include "picture/curve_page.hpp"

namespace emberline::picture {

// What a legend has to explain.
struct LegendEntry {
    enum class Kind { symbol, fit, limit, outlier, edge, tick };
    Kind kind = Kind::symbol;
    SymbolLook look;  // the colour counts for all kinds
    std::string words;
    std::string dashes = "dt 1";  // of a fit
};

struct Legend {
    std::vector<LegendEntry> entries;
    std::vector<std::string> notes;  // small print below
};

// The width that they need.
[[nodiscard]] double column_width(const Legend& legend, const std::vector<FigureLine>& figures);
// Drawn with its upper left corner there, down to `bottom` at most.
void draw_column(CurvePage& page, const Legend& legend, const std::vector<FigureLine>& figures,
                 const PaperBox& column);

}  // namespace emberline::picture
