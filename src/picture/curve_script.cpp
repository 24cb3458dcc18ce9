// SPDX-License-Identifier: MIT
// The paper is laid out by hand in fractions of its width and height, since gnuplot would place a legend
// inside the data and leave margins that change with the labels.
#include "picture/curve_script.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "picture/axis_ticks.hpp"
#include "picture/band_look.hpp"
#include "picture/curve_marks.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/paper.hpp"

namespace emberline::picture {
namespace {

constexpr double left = 0.092, right = 0.875;
constexpr double below_panels = 0.112;
constexpr double residual_top = 0.30, gap = 0.022;
constexpr double legend_x = 0.905, legend_step = 0.042;

using Out = std::back_insert_iterator<std::string>;

class Script {
  public:
    Script(const CurvePicture& picture, std::vector<BandMarks> bands, const CurveRanges& ranges)
        : picture_(picture), bands_(std::move(bands)), ranges_(ranges) {
        std::vector<std::string> names;
        for (const CurveOnPaper& one : picture.bands)
            names.push_back(one.curve.band.name());
        looks_ = looks_of(names);
        // A short curve is read to the minute, a long one to the day.
        offset_ =
            ranges.jd.span() < 3.0 ? std::floor(ranges.jd.low) : std::floor(ranges.jd.low / 100.0) * 100.0;
        std::size_t n = 0;
        for (const BandMarks& band : bands_)
            n += band.marks.size();
        point_size_ = n <= 60 ? 1.15 : n <= 400 ? 0.8 : n <= 3000 ? 0.5 : 0.25;
        bar_width_ = n <= 400 ? 1.6 : 0.8;
        halo_ = n <= 400;
        top_ = 0.842 - 0.03 * static_cast<double>(std::max<std::size_t>(picture.subtitle.size(), 1) - 1);
        top_ = std::max(top_, 0.6);
    }

    std::string write(PaperKind kind) {
        add("{}", terminal(kind, "light_curve"));
        if (kind == PaperKind::svg) {
            // This terminal knows neither a point scale nor bold letters.
            point_scale_ = 0.62;
            title_font_ = "sans-serif,20";
        }
        add("set encoding utf8\nset multiplot\nunset key\n");
        write_data();
        heading();
        legend();
        main_panel();
        if (ranges_.residual_mag) residual_panel();
        add("unset multiplot\n");
        return std::move(text_);
    }

  private:
    template <class... Args>
    void add(fmt::format_string<Args...> format, Args&&... args) {
        fmt::format_to(Out(text_), format, std::forward<Args>(args)...);
    }

    [[nodiscard]] double day(double jd) const { return jd - offset_; }

    void label(double x, double y, std::string_view content, std::string_view style) {
        add("set label {} at screen {:.5f},{:.5f} {} front\n", gnuplot_text(content), x, y, style);
    }

    // Data blocks, one a band and kind: $m0 marks, $l0 limits, $f0 the fitted line.
    void write_data() {
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            add("$m{} << EOD\n", b);
            for (const Mark& m : bands_[b].marks) {
                add("{:.6f} {:.6f} {:.6f} {:.6f} {} ", day(m.jd), m.mag, m.random_err, m.total_err,
                    m.open ? 1 : 0);
                if (m.residual_mag) {
                    add("{:.6f}\n", *m.residual_mag);
                } else {
                    add("NaN\n");
                }
            }
            add("EOD\n$l{} << EOD\n", b);
            for (const LimitMark& l : bands_[b].limits)
                add("{:.6f} {:.6f}\n", day(l.jd), l.mag);
            add("EOD\n$f{} << EOD\n", b);
            for (const LineSample& at : bands_[b].line)
                add("{:.6f} {:.6f} {:.6f}\n", day(at.jd), at.mag, at.err);
            add("EOD\n");
        }
    }

    // The mark of the transient (four ticks about an open centre), the title, and a line each of subtitle.
    void heading() {
        const double x = left + 0.011, y = 0.951, aspect = 960.0 / 680.0;
        for (const auto& [dx, dy] : {std::pair{1.0, 0.0}, {-1.0, 0.0}, {0.0, 1.0}, {0.0, -1.0}}) {
            constexpr double inner = 0.0042, outer = 0.0105;
            add("set arrow from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} nohead lw 2.4 lc rgb '{}' "
                "front\n",
                x + inner * dx, y + inner * aspect * dy, x + outer * dx, y + outer * aspect * dy, ember);
        }
        label(left + 0.034, y, picture_.title, fmt::format("left font '{}' tc rgb '{}'", title_font_, ink));
        double line = y - 0.044;
        for (const std::string& subtitle : picture_.subtitle) {
            label(left + 0.034, line, subtitle, fmt::format("left font 'sans-serif,13' tc rgb '{}'", slate));
            line -= 0.03;
            if (line < top_ + 0.045) break;
        }
    }

    // Drawn by hand at the right of the panels, so that a limit is an arrow down here too.
    void legend() {
        double y = top_ - 0.012;
        const auto words = [&](const std::string& text) {
            label(legend_x + 0.02, y, text, fmt::format("left font 'sans-serif,13' tc rgb '{}'", ink));
            y -= legend_step;
        };
        bool any_line = false, any_limit = false, any_open = false;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            add("set label '' at screen {:.5f},{:.5f} point pt {} ps {:.3f} lc rgb '{}' front\n", legend_x, y,
                static_cast<int>(looks_[b].shape), 1.15 * point_scale_, looks_[b].colour);
            const auto& curve = picture_.bands[b].curve;
            words(curve.series.front() == "own" ? curve.band.name()
                                                : curve.band.name() + " " + curve.series.front());
            any_line = any_line || bands_[b].has_line();
            any_limit = any_limit || !bands_[b].limits.empty();
            any_open = any_open || std::any_of(bands_[b].marks.begin(), bands_[b].marks.end(),
                                               [](const Mark& m) { return m.open; });
        }
        const std::string colour = bands_.size() == 1 ? looks_[0].colour : std::string(slate);
        if (any_open) {
            const int shape = bands_.size() == 1 ? static_cast<int>(looks_[0].shape) - 1 : 6;
            add("set label '' at screen {:.5f},{:.5f} point pt {} ps {:.3f} lw 1.4 lc rgb '{}' front\n",
                legend_x, y, shape, 1.1 * point_scale_, colour);
            words("outlier");
        }
        if (any_line) {
            add("set object rectangle from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} fs transparent solid "
                "0.2 "
                "noborder fc rgb '{}' front\n",
                legend_x - 0.013, y - 0.011, legend_x + 0.013, y + 0.011, colour);
            add("set arrow from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} nohead lw 1.8 lc rgb '{}' "
                "front\n",
                legend_x - 0.013, y, legend_x + 0.013, y, colour);
            words("fit ± 1σ");
        }
        if (any_limit) {
            add("set arrow from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} nohead lw 1.4 lc rgb '{}' "
                "front\n",
                legend_x - 0.006, y + 0.016, legend_x + 0.006, y + 0.016, colour);
            add("set arrow from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} head empty size screen "
                "0.008,24,90 lw 1.4 "
                "lc rgb '{}' front\n",
                legend_x, y + 0.016, legend_x, y - 0.018, colour);
            words("limit");
        }
        if (ranges_.errors_differ) {
            y -= 0.012;
            for (const char* line : {"bars: random;", "thin: with the", "common errors"}) {
                label(legend_x - 0.013, y, line, fmt::format("left font 'sans-serif,10' tc rgb '{}'", slate));
                y -= 0.026;
            }
        }
    }

    void panel_margins(double bottom, double top) {
        add("set lmargin at screen {:.5f}\nset rmargin at screen {:.5f}\nset bmargin at screen {:.5f}\nset "
            "tmargin at "
            "screen {:.5f}\n",
            left, right, bottom, top);
    }

    void common_axes() {
        add("set border 3 lw 1 lc rgb '{}'\nset tics nomirror out scale 0.6 textcolor rgb '{}' font "
            "'sans-serif,12'\n",
            slate, ink);
        add("set grid xtics ytics lt 1 lw 0.8 lc rgb '{}', lt 1 lw 0.8 lc rgb '{}'\nset grid back\n",
            faint_line, faint_line);
        add("set xrange [{:.6f}:{:.6f}]\n", day(ranges_.jd.low), day(ranges_.jd.high));
        const double step = round_step(ranges_.jd.span(), 8);
        add("set xtics {:.9g} format '%.{}f'\n", step, decimals_of_step(step));
    }

    void julian_axis() {
        add("set xlabel 'JD (TDB, barycentric) − {:.0f} (d)' offset 0,0.2 tc rgb '{}' font "
            "'sans-serif,13'\n",
            offset_, ink);
    }

    void calendar_axis() {
        const double lag = ranges_.utc_lag_d;
        std::string ticks;
        for (const DateTick& t : date_ticks(ranges_.jd.low - lag, ranges_.jd.high - lag, 8)) {
            if (!ticks.empty()) ticks += ", ";
            ticks += fmt::format("{} {:.6f}", gnuplot_text(t.label), day(t.jd_utc + lag));
        }
        if (ticks.empty()) return;
        add("set border 7\nset x2range [{:.6f}:{:.6f}]\n", day(ranges_.jd.low), day(ranges_.jd.high));
        add("set x2tics ({}) nomirror out scale 0.6 offset 0,-0.2 textcolor rgb '{}' font 'sans-serif,12'\n",
            ticks, slate);
        label(legend_x, top_ + 0.027, "date (UTC)",
              fmt::format("left font 'sans-serif,11' tc rgb '{}'", slate));
    }

    void main_panel() {
        const bool residuals = ranges_.residual_mag.has_value();
        panel_margins(residuals ? residual_top + gap : below_panels, top_);
        common_axes();
        add("set yrange [{:.6f}:{:.6f}]\n", ranges_.mag.high, ranges_.mag.low);
        const double step = round_step(ranges_.mag.span(), 7);
        add("set ytics {:.9g} format '%.{}f'\n", step, std::max(decimals_of_step(step), 1));
        const std::string axis =
            bands_.size() == 1 ? picture_.bands[0].curve.band.name() + " (mag)" : "magnitude (mag)";
        add("set ylabel {} tc rgb '{}' font 'sans-serif,13' offset 0.6,0\n", gnuplot_text(axis), ink);
        calendar_axis();
        if (residuals) {
            add("set xtics format ''\n");
        } else {
            julian_axis();
        }
        std::vector<std::string> plots;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!bands_[b].has_line()) continue;
            plots.push_back(
                fmt::format("$f{} using 1:($2-$3):($2+$3) with filledcurves fs transparent solid 0.2 "
                            "noborder fc rgb '{}'",
                            b, looks_[b].colour));
            if (halo_) plots.push_back(line_plot(b, looks_[b].colour));
        }
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!bands_[b].limits.empty()) limit_plots(b, plots);
            if (!bands_[b].marks.empty()) point_plots(b, 2, plots);
        }
        // Under a crowd of points nobody would see the line.
        for (std::size_t b = 0; b < bands_.size() && !halo_; ++b) {
            if (bands_[b].has_line()) plots.push_back(line_plot(b, ink));
        }
        plot(plots);
        add("unset arrow\nunset label\nunset object\nunset x2tics\nunset x2label\n");
    }

    [[nodiscard]] static std::string line_plot(std::size_t b, std::string_view colour) {
        return fmt::format("$f{} using 1:2 with lines lw 1.8 lc rgb '{}'", b, colour);
    }

    void limit_plots(std::size_t b, std::vector<std::string>& plots) {
        const double half_bar = 0.006 * ranges_.jd.span(), length = 0.06 * ranges_.mag.span();
        plots.push_back(
            fmt::format("$l{} using ($1-{:.6f}):2:({:.6f}):(0) with vectors nohead lw 1.4 lc rgb '{}'", b,
                        half_bar, 2.0 * half_bar, looks_[b].colour));
        plots.push_back(
            fmt::format("$l{} using 1:2:(0):({:.6f}) with vectors head empty size screen 0.008,24,90 lw 1.4 "
                        "lc rgb '{}'",
                        b, length, looks_[b].colour));
    }

    // Thin bars for the total error, thick ones for the random part, then the mark on a halo of paper so that
    // neighbours stay apart; outliers are open.
    void point_plots(std::size_t b, int column, std::vector<std::string>& plots) {
        const std::string& colour = looks_[b].colour;
        const int shape = static_cast<int>(looks_[b].shape);
        const double size = point_size_ * point_scale_;
        // gnuplot's own error bars would clear a ring about each point, however small.
        // A crowd of bars is drawn with some transparency (the first two digits).
        const std::string bar_colour = halo_ ? colour : "#b0" + colour.substr(1);
        const auto bars = [&](int err_column, double width) {
            plots.push_back(
                fmt::format("$m{} using 1:(${}-${}):(0):(2*${}) with vectors nohead lw {:.2f} lc rgb '{}'", b,
                            column, err_column, err_column, width, bar_colour));
        };
        if (ranges_.errors_differ) bars(4, 0.4 * bar_width_);
        bars(3, bar_width_);
        if (halo_) {
            plots.push_back(fmt::format("$m{} using 1:{} with points pt {} ps {:.3f} lc rgb '{}'", b, column,
                                        shape, 1.35 * size, paper));
        }
        plots.push_back(
            fmt::format("$m{} using 1:($5 > 0.5 ? NaN : ${}) with points pt {} ps {:.3f} lc rgb '{}'", b,
                        column, shape, size, colour));
        plots.push_back(
            fmt::format("$m{} using 1:($5 > 0.5 ? ${} : NaN) with points pt {} ps {:.3f} lw 1.4 lc rgb '{}'",
                        b, column, shape - 1, size, colour));
    }

    // Residuals beyond the panel are marked at its edge by an open arrow that points to where they are.
    void residual_panel() {
        const double half = *ranges_.residual_mag;
        panel_margins(below_panels, residual_top);
        common_axes();
        add("set yrange [{:.6f}:{:.6f}]\n", half, -half);
        const double step = round_step(2.0 * half, 4);
        const int decimals = std::max(decimals_of_step(step), 1);
        std::string ticks = "'0' 0";
        for (double tick = step; tick <= half; tick += step) {
            ticks += fmt::format(", '+{0:.{1}f}' {0:.9f}, '−{0:.{1}f}' -{0:.9f}", tick, decimals);
        }
        add("set ytics ({})\n", ticks);
        add("set ylabel 'residual (mag)' tc rgb '{}' font 'sans-serif,13' offset 0.6,0\n", ink);
        julian_axis();
        std::vector<std::string> plots{fmt::format("0 with lines lw 1.2 dt 2 lc rgb '{}'", slate)};
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (bands_[b].marks.empty()) continue;
            point_plots(b, 6, plots);
            for (const int sign : {1, -1}) {
                plots.push_back(
                    fmt::format("$m{} using 1:(($6)*{} > {:.6f} ? {:.6f} : NaN):(0):({:.6f}) with vectors "
                                "head empty size screen 0.007,26,90 lw 1.4 lc rgb '{}'",
                                b, sign, half, sign * 0.62 * half, sign * 0.3 * half, looks_[b].colour));
            }
        }
        plot(plots);
    }

    void plot(const std::vector<std::string>& plots) {
        add("plot ");
        for (std::size_t i = 0; i < plots.size(); ++i)
            add("{}{} notitle", i == 0 ? "" : ", \\\n     ", plots[i]);
        add("\n");
    }

    const CurvePicture& picture_;
    std::vector<BandMarks> bands_;
    CurveRanges ranges_;
    std::vector<BandLook> looks_;
    double offset_ = 0.0, point_size_ = 1.0, bar_width_ = 1.6, top_ = 0.84;
    double point_scale_ = 1.0;
    std::string title_font_ = "sans-serif:Bold,19";
    bool halo_ = true;
    std::string text_;
};

}  // namespace

Result<std::string> curve_script(const CurvePicture& picture, PaperKind kind) {
    std::vector<BandMarks> bands;
    for (const CurveOnPaper& one : picture.bands)
        bands.push_back(marks_of(one));
    const auto ranges = ranges_of(picture, bands);
    if (!ranges) {
        return fail({.what = "There is nothing to draw: no point has a time and a magnitude.",
                     .where = picture.title,
                     .mend = "Measure a night first, or widen the range of dates."});
    }
    return Script(picture, std::move(bands), *ranges).write(kind);
}

}  // namespace emberline::picture
