// SPDX-License-Identifier: MIT
#include "picture/transform_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "picture/axis_ticks.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/paper.hpp"
#include "picture/printed_text.hpp"
#include "picture/script_text.hpp"
#include "picture/terminal.hpp"

namespace emberline::picture {
namespace {

using night::BandTransformation;

// In the paper's units, from its top.
constexpr int heading_height = 76, panel_height = 236, panel_gap = 96, foot_height = 20;
constexpr double left = 0.10, right = 0.97;
constexpr double least_range_mag = 0.02;

bool drawable(const BandTransformation& band) {
    return std::any_of(band.found.relation.begin(), band.found.relation.end(),
                       [](const auto& star) { return star.colour_mag.has_value(); });
}

class TransformScript : private ScriptText {
  public:
    TransformScript(std::vector<const BandTransformation*> panels, const std::string& title)
        : panels_(std::move(panels)), title_(title) {}

    std::string write(PaperKind kind) {
        point_size_ = kind == PaperKind::svg ? 0.55 : 0.9;
        height_ =
            heading_height + foot_height + static_cast<int>(panels_.size()) * (panel_height + panel_gap);
        add("{}set encoding utf8\nset multiplot\nunset key\nset minussign\n",
            terminal(kind, "transform", height_));
        label(0.03, 28, fmt::format("{}: the instrument's colours", title_), 19.0, ink);
        label(
            0.03, 52,
            "catalogue − measured (mag) of each star, its frame's zero point taken away; crosses: stars left "
            "out, at the edge if beyond",
            13.0, slate);
        for (std::size_t i = 0; i < panels_.size(); ++i)
            panel(i);
        add("unset multiplot\n");
        return take();
    }

  private:
    [[nodiscard]] double screen(double units_from_top) const { return 1.0 - units_from_top / height_; }

    void label(double x, double from_top, const std::string& content, double size, const char* colour) {
        add("set label {} at screen {:.5f},{:.5f} left font 'sans-serif,{:g}' tc rgb '{}' front\n",
            gnuplot_text(content), x, screen(from_top), size, colour);
    }

    static std::string words_of(const BandTransformation& band) {
        const auto& found = band.found;
        std::string words = fmt::format("{}, {}: ", band.band.name(), band.instrument);
        words += found.colour_term ? with_minus(fmt::format("T = {:+.4f} ± {:.4f}", found.colour_term->value,
                                                            found.colour_term->err))
                                   : found.no_colour_term;
        if (found.extinction)
            words += fmt::format(", k = {:.3f} ± {:.3f}", found.extinction->value, found.extinction->err);
        return words + fmt::format(", {} stars, scatter {:.3f}", found.stars, found.scatter_mag);
    }

    void panel(std::size_t number) {
        const BandTransformation& band = *panels_[number];
        const auto& found = band.found;
        const double top = heading_height + 26 + static_cast<double>(number) * (panel_height + panel_gap);
        double low = HUGE_VAL, high = -HUGE_VAL, range = least_range_mag;
        std::string used, left_out;
        for (const auto& star : found.relation) {
            if (!star.colour_mag) continue;
            low = std::min(low, *star.colour_mag);
            high = std::max(high, *star.colour_mag);
            if (star.used) range = std::max(range, std::abs(star.departure_mag) + star.err_mag);
        }
        range *= 1.1;
        for (const auto& star : found.relation) {
            if (!star.colour_mag) continue;
            const double y = std::clamp(star.departure_mag, -0.97 * range, 0.97 * range);
            (star.used ? used : left_out) +=
                fmt::format("{:.5f} {:.5f} {:.5f}\n", *star.colour_mag, y, star.err_mag);
        }
        const double margin = std::max(0.05 * (high - low), 0.02);
        label(left, top - 12, words_of(band), 14.0, ink);
        add("set lmargin at screen {:.5f}\nset rmargin at screen {:.5f}\nset bmargin at screen {:.5f}\n"
            "set tmargin at screen {:.5f}\n",
            left, right, screen(top + panel_height), screen(top));
        add("set border 3 lw 1 lc rgb '{0}'\nset xrange [{1:.5f}:{2:.5f}]\nset yrange [{3:.5f}:{4:.5f}]\n",
            slate, low - margin, high + margin, -range, range);
        const double step = round_step(2.0 * range, 5);
        add("set xtics nomirror out scale 0.6 textcolor rgb '{0}' font 'sans-serif,12'\n"
            "set ytics {1:.9g} nomirror out scale 0.6 textcolor rgb '{0}' font 'sans-serif,12' format "
            "'%+.{2}f'\n",
            ink, step, decimals_of_step(step));
        add("set xlabel {} offset 0,0.4 tc rgb '{}' font 'sans-serif,12'\n",
            gnuplot_text(band.index.name() + " (mag)"), slate);
        add("set arrow 1 from graph 0, first 0 to graph 1, first 0 nohead lw 1 lc rgb '{}' back\n",
            faint_line);
        add("$u{0} << EOD\n{1}EOD\n$o{0} << EOD\n{2}EOD\n", number, used, left_out);
        std::string parts;
        if (!used.empty())
            parts += fmt::format("$u{} using 1:2:3 with yerrorbars pt 7 ps {:.3f} lw 1 lc rgb '{}' notitle",
                                 number, point_size_, ink);
        if (!left_out.empty())
            parts += fmt::format("{}$o{} using 1:2 with points pt 2 ps {:.3f} lw 1.5 lc rgb '{}' notitle",
                                 parts.empty() ? "" : ", ", number, 1.6 * point_size_, slate);
        if (found.colour_term)
            parts += fmt::format(", {:.8f} * (x - {:.8f}) with lines lw 2 lc rgb '{}' notitle",
                                 found.colour_term->value, found.mean_colour_mag, ember);
        add("plot {}\nunset label\nunset arrow\n", parts);
    }

    std::vector<const BandTransformation*> panels_;
    const std::string& title_;
    double point_size_ = 0.6;
    int height_ = 0;
};

}  // namespace

Result<void> draw_transformations(const std::vector<BandTransformation>& bands, const std::string& title,
                                  const std::string& path) {
    const auto kind = paper_kind_of(path);
    if (!kind) return fail(kind.error());
    std::vector<const BandTransformation*> panels;
    for (const BandTransformation& band : bands) {
        if (drawable(band)) panels.push_back(&band);
    }
    if (panels.empty()) {
        return fail({.what = "There is no star with a colour to draw.",
                     .where = path,
                     .mend = "The catalogue needs both bands of the colour index."});
    }
    return run_gnuplot(TransformScript(std::move(panels), title).write(*kind), path);
}

}  // namespace emberline::picture
