// SPDX-License-Identifier: MIT
#include "picture/figures_panel.hpp"

#include <algorithm>

#include "picture/paper.hpp"
#include "picture/printed_text.hpp"

namespace emberline::picture {
namespace {

constexpr double entry_step = 24.0, note_step = 17.0, figure_step = 19.0, words_at = 30.0;
constexpr double letter_width = 0.61;  // of the size of the font: the mean of a plain sans-serif
constexpr std::size_t most_figures = 14, most_letters_of_entry = 24, most_letters_of_value = 26,
                      most_letters_of_name = 18;
constexpr double narrowest = 84.0, widest = 250.0;

double width_of(std::string_view text, double font) {
    return letter_width * font * static_cast<double>(letters(text));
}

void draw_entry(CurvePage& page, const LegendEntry& entry, double x, double y) {
    const std::string& colour = entry.look.colour;
    const double middle = x + 10.0;
    switch (entry.kind) {
        case LegendEntry::Kind::symbol:
            page.symbol(middle, y, entry.look);
            break;
        case LegendEntry::Kind::fit:
            page.rectangle(middle - 12.0, y - 7.0, middle + 12.0, y + 7.0, colour, 0.2);
            page.line(middle - 12.0, y, middle + 12.0, y, 1.8, colour, entry.dashes);
            break;
        case LegendEntry::Kind::limit:
            page.line(middle - 5.0, y - 9.0, middle + 5.0, y - 9.0, 1.4, colour);
            page.arrow(middle, y - 9.0, middle, y + 10.0, colour);
            break;
        case LegendEntry::Kind::outlier:
            page.symbol(middle, y, entry.look);
            page.symbol(middle, y, {.colour = ink, .type = 2, .size = 1.3});
            break;
        case LegendEntry::Kind::edge:
            page.arrow(middle, y + 7.0, middle, y - 9.0, colour);
            break;
        case LegendEntry::Kind::tick:
            page.line(middle, y - 6.0, middle, y + 6.0, 1.6, colour);
            page.line(middle - 9.0, y, middle + 9.0, y, 1.2, colour);
            break;
    }
    page.label(x + words_at, y, shortened(entry.words, most_letters_of_entry),
               words_style("left", usual_font, ink));
}

}  // namespace

double column_width(const Legend& legend, const std::vector<FigureLine>& figures) {
    double width = narrowest;
    for (const LegendEntry& entry : legend.entries)
        width =
            std::max(width, words_at + width_of(shortened(entry.words, most_letters_of_entry), usual_font));
    for (const std::string& note : legend.notes)
        width = std::max(width, width_of(note, small_font));
    for (std::size_t i = 0; i < std::min(figures.size(), most_figures); ++i) {
        width = std::max(width, width_of(shortened(figures[i].name, most_letters_of_name), small_font) +
                                    width_of(shortened(figures[i].value, most_letters_of_value), small_font) +
                                    10.0);
    }
    return std::min(width, widest);
}

void draw_column(CurvePage& page, const Legend& legend, const std::vector<FigureLine>& figures,
                 const PaperBox& column) {
    double y = column.top + 4.0;
    for (const LegendEntry& entry : legend.entries) {
        if (y > column.bottom) return;
        draw_entry(page, entry, column.left, y);
        y += entry_step;
    }
    for (const std::string& note : legend.notes) {
        if (y > column.bottom) return;
        page.label(column.left, y, note, words_style("left", small_font, slate));
        y += note_step;
    }
    if (figures.empty()) return;
    y += 6.0;
    const auto fitting = static_cast<std::size_t>(std::max((column.bottom - y) / figure_step - 1.0, 0.0));
    const std::size_t shown = std::min({figures.size(), most_figures, fitting});
    if (shown == 0) return;
    page.line(column.left, y, column.right, y, 0.8, faint_line);
    for (std::size_t i = 0; i < shown; ++i) {
        y += figure_step;
        page.label(column.left, y, shortened(figures[i].name, most_letters_of_name),
                   words_style("left", small_font, slate));
        page.label(column.right, y, shortened(figures[i].value, most_letters_of_value),
                   words_style("right", small_font, ink));
    }
    if (shown < figures.size())
        page.label(column.right, y + figure_step, "…", words_style("right", small_font, slate));
}

}  // namespace emberline::picture
