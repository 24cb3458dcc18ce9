// SPDX-License-Identifier: MIT
// picture/curve_page — a sheet of paper with several panels, laid out by hand: gnuplot would place a legend
// inside the data and leave margins that change with the labels. Private to this room.
// Places are in units of terminal(): x from the left edge, y down from the upper one.
#pragma once

#include <fmt/format.h>

#include <string>
#include <string_view>
#include <vector>

#include "picture/band_look.hpp"
#include "picture/curve_marks.hpp"
#include "picture/script_text.hpp"
#include "picture/terminal.hpp"

namespace emberline::picture {

// A panel's place on the paper, or a word's.
struct PaperBox {
    double left = 0.0, right = 0.0, top = 0.0, bottom = 0.0;
    [[nodiscard]] double width() const { return right - left; }
    [[nodiscard]] double height() const { return bottom - top; }
};

class CurvePage : public ScriptText {
  public:
    CurvePage(PaperKind kind, int height);

    // `style`: alignment, colour, font, rotation in gnuplot's words.
    void label(double x, double y, std::string_view content, std::string_view style);
    void line(double x0, double y0, double x1, double y1, double width, std::string_view colour,
              std::string_view dashes = "dt 1");
    void arrow(double x0, double y0, double x1, double y1, std::string_view colour);  // open head
    void symbol(double x, double y, const SymbolLook& look);
    void rectangle(double x0, double y0, double x1, double y1, std::string_view colour, double opacity);
    void open_panel(const PaperBox& at);
    // The words of a vertical axis, beside it.
    void upright_label(const PaperBox& beside, std::string_view content);
    // Draws the panel with everything put on paper since the last one.
    void plot(const std::vector<std::string>& plots);
    // Points of a data block: "$m0s0", "using" columns, how they look, their size beside the usual one.
    [[nodiscard]] std::string points(const std::string& data, std::string_view columns,
                                     const SymbolLook& look, double size) const;
    // The whole script; the sheet is closed.
    [[nodiscard]] std::string take();

  private:
    [[nodiscard]] double across(double x) const { return x / paper_width; }
    [[nodiscard]] double up(double y) const { return 1.0 - y / height_; }

    double height_, point_scale_;
};

// What the panels of one sheet share.
struct TimeAxis {
    Range jd;
    double offset = 0.0;  // taken off every time in gnuplot's data
    [[nodiscard]] double day(double jd_at) const { return jd_at - offset; }
};

// Border, grid, ticks of time (with numbers or not) and the range of time.
void time_axis(CurvePage& page, const TimeAxis& axis, bool numbers);

inline constexpr double small_font = 12.0, usual_font = 13.5;

// Font and colour of a label.
[[nodiscard]] std::string words_style(std::string_view align, double size, std::string_view colour);

}  // namespace emberline::picture
