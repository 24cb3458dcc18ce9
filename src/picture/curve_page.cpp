// SPDX-License-Identifier: MIT
#include "picture/curve_page.hpp"

#include <algorithm>

#include "picture/axis_ticks.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/paper.hpp"

namespace emberline::picture {

CurvePage::CurvePage(PaperKind kind, int height)
    : height_(height),
      // The SVG terminal has no scale of points.
      point_scale_(kind == PaperKind::svg ? 0.62 : 1.15) {
    add("{}set encoding utf8\nset multiplot\nunset key\nset clip two\nset minussign\n",
        terminal(kind, "light_curve", height));
}

void CurvePage::label(double x, double y, std::string_view content, std::string_view style) {
    add("set label {} at screen {:.5f},{:.5f} {} front\n", gnuplot_text(content), across(x), up(y), style);
}

void CurvePage::line(double x0, double y0, double x1, double y1, double width, std::string_view colour,
                     std::string_view dashes) {
    add("set arrow from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} nohead lw {:.2f} {} lc rgb '{}' "
        "front\n",
        across(x0), up(y0), across(x1), up(y1), width, dashes, colour);
}

void CurvePage::arrow(double x0, double y0, double x1, double y1, std::string_view colour) {
    add("set arrow from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} head empty size screen 0.008,24,90 "
        "lw 1.4 lc rgb '{}' front\n",
        across(x0), up(y0), across(x1), up(y1), colour);
}

namespace {

// Line width of a point type: a filled one must not grow by its outline, an open one must be seen.
double outline_of(int type) {
    constexpr int cross = 2, first_shape = 4;
    if (type <= cross) return 1.1;
    return type >= first_shape && type % 2 == 0 ? 1.5 : 0.8;
}

}  // namespace

void CurvePage::symbol(double x, double y, const SymbolLook& look) {
    const auto one = [&](int type, double size) {
        add("set label '' at screen {:.5f},{:.5f} point pt {} ps {:.3f} lw {:.1f} lc rgb '{}' front\n",
            across(x), up(y), type, size * look.size * point_scale_, outline_of(type), look.colour);
    };
    one(look.type, 1.15);
    if (look.inner_type != 0) one(look.inner_type, 0.45);
}

void CurvePage::rectangle(double x0, double y0, double x1, double y1, std::string_view colour,
                          double opacity) {
    add("set object rectangle from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} fs transparent solid {:.2f} "
        "noborder fc rgb '{}' front\n",
        across(x0), up(y0), across(x1), up(y1), opacity, colour);
}

void CurvePage::open_panel(const PaperBox& at) {
    add("set lmargin at screen {:.5f}\nset rmargin at screen {:.5f}\nset tmargin at screen {:.5f}\nset "
        "bmargin at screen {:.5f}\n",
        across(at.left), across(at.right), up(at.top), up(at.bottom));
}

void CurvePage::upright_label(const PaperBox& beside, std::string_view content) {
    label(beside.left - 78.0, 0.5 * (beside.top + beside.bottom), content,
          words_style("center", usual_font, ink) + " rotate by 90");
}

void CurvePage::plot(const std::vector<std::string>& plots) {
    add("plot ");
    for (std::size_t i = 0; i < plots.size(); ++i)
        add("{}{} notitle", i == 0 ? "" : ", \\\n     ", plots[i]);
    add("\nunset arrow\nunset label\nunset object\nunset x2tics\n");
}

std::string CurvePage::points(const std::string& data, std::string_view columns, const SymbolLook& look,
                              double size) const {
    std::string text =
        fmt::format("{} using {} with points pt {} ps {:.3f} lw {:.1f} lc rgb '{}'", data, columns, look.type,
                    size * look.size * point_scale_, outline_of(look.type), look.colour);
    if (look.inner_type != 0) {
        text += fmt::format(
            " notitle, \\\n     {} using {} with points pt {} ps {:.3f} lw {:.1f} lc rgb '{}'", data, columns,
            look.inner_type, 0.4 * size * look.size * point_scale_, outline_of(look.inner_type), look.colour);
    }
    return text;
}

std::string CurvePage::take() {
    add("unset multiplot\n");
    return ScriptText::take();
}

void time_axis(CurvePage& page, const TimeAxis& axis, bool numbers) {
    page.add(
        "set border 3 lw 1 lc rgb '{}'\nset tics nomirror out scale 0.6 textcolor rgb '{}' font "
        "'sans-serif,13'\n",
        slate, ink);
    page.add("set grid xtics ytics lt 1 lw 0.8 lc rgb '{}', lt 1 lw 0.8 lc rgb '{}'\nset grid back\n",
             faint_line, faint_line);
    page.add("set xrange [{:.6f}:{:.6f}]\n", axis.day(axis.jd.low), axis.day(axis.jd.high));
    const double step = round_step(axis.jd.span(), 7);
    page.add("set xtics {:.9g} format '{}'\n", step,
             numbers ? fmt::format("%.{}f", decimals_of_step(step)) : "");
}

std::string words_style(std::string_view align, double size, std::string_view colour) {
    return fmt::format("{} font 'sans-serif,{:g}' tc rgb '{}'", align, size, colour);
}

}  // namespace emberline::picture
