// SPDX-License-Identifier: MIT
#include "picture/curve_script.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "picture/axis_ticks.hpp"
#include "picture/colour_panel.hpp"
#include "picture/curve_page.hpp"
#include "picture/figures_panel.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/paper.hpp"
#include "picture/printed_text.hpp"
#include "picture/time_marks.hpp"

namespace emberline::picture {
namespace {

constexpr int usual_height = 680, height_with_colours = 860;
constexpr double left = 98.0, right_margin = 18.0, gap = 16.0;
constexpr double below_panels = 66.0, above_panels = 64.0;
constexpr double residual_height = 112.0, colour_height = 150.0;
constexpr double end_label_height = 17.0;
constexpr std::size_t most_points = 4000, most_colour_points = 1500, most_edge_values = 8;
constexpr std::size_t letters_a_line = 105;
// Dashes by which the lines of bands differ in a grey print, the first one solid.
constexpr std::array dashes = {"dt 1", "dt (14,4)", "dt (7,4)", "dt (2,3)", "dt (14,4,2,4)", "dt (7,3,2,3)"};

class Script {
  public:
    Script(const CurvePicture& picture, PaperKind kind, std::vector<BandMarks> bands,
           const CurveRanges& ranges)
        : picture_(picture),
          kind_(kind),
          bands_(std::move(bands)),
          ranges_(ranges),
          series_(series_of(picture)),
          subtitles_(side_by_side(picture.subtitle, letters_a_line)),
          height_(any_colour(picture) ? height_with_colours : usual_height),
          page_(kind, height_) {
        std::vector<std::string> names;
        for (const CurveOnPaper& one : picture.bands)
            names.push_back(one.curve.band.name());
        looks_ = looks_of(names);
        for (const BandMarks& band : bands_)
            all_points_ += band.marks.size() + band.limits.size();
        thin_out(bands_, ranges_, most_points);
        for (const BandMarks& band : bands_)
            points_ += band.marks.size() + band.limits.size();
        size_ = points_ <= 60 ? 1.15 : points_ <= 250 ? 0.9 : points_ <= 1200 ? 0.68 : 0.35;
        crowded_ = points_ > 1200;
        bar_width_ = points_ <= 250 ? 1.5 : points_ <= 1200 ? 1.0 : 0.7;
        // A short curve is read to the minute, a long one to the day.
        axis_ = {ranges.jd, ranges.jd.span() < 3.0 ? std::floor(ranges.jd.low)
                                                   : std::floor(ranges.jd.low / 100.0) * 100.0};
    }

    std::string write() {
        find_edges();
        lay_out();
        heading();
        draw_column(page_, legend_, picture_.figures,
                    {.left = main_.right + end_labels_,
                     .right = paper_width - right_margin,
                     .top = main_.top,
                     .bottom = height_ - 20.0});
        main_panel();
        if (ranges_.residual_mag) residual_panel();
        if (any_colour(picture_)) {
            julian_words(colour_);
            colour_panel(page_, picture_, axis_, colour_, true, most_colour_points);
        }
        return page_.take();
    }

  private:
    struct EdgeMark {
        std::size_t band;
        double jd, mag;  // as drawn, were there room
        bool limit;
        std::optional<double> residual_mag;
    };

    [[nodiscard]] bool several() const { return bands_.size() > 1; }

    // "B + 1.0"
    [[nodiscard]] std::string band_words(std::size_t b) const {
        const std::string& name = picture_.bands[b].curve.band.name();
        const double shift = picture_.bands[b].shift_mag;
        if (shift == 0.0) return name;
        return fmt::format("{} {} {:.1f}", name, shift > 0.0 ? "+" : "−", std::abs(shift));
    }

    // What lies outside the panel is marked at its edge instead.
    void find_edges() {
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            std::erase_if(bands_[b].marks, [&](const Mark& m) {
                if (ranges_.mag.holds(m.mag)) return false;
                edges_.push_back({b, m.jd, m.mag, false, m.residual_mag});
                return true;
            });
            std::erase_if(bands_[b].limits, [&](const LimitMark& l) {
                if (ranges_.mag.holds(l.mag)) return false;
                edges_.push_back({b, l.jd, l.mag, true, std::nullopt});
                return true;
            });
        }
    }

    void lay_out() {
        fill_legend();
        std::size_t widest = 0;
        for (std::size_t b = 0; b < bands_.size(); ++b)
            widest = std::max(widest, letters(band_words(b)));
        for (const auto& colour : picture_.colours)
            widest = std::max(widest, letters(colour.index.name()));
        const bool named = several() || any_colour(picture_);
        end_labels_ = named ? 22.0 + 8.6 * static_cast<double>(widest) : 24.0;
        const double right =
            paper_width - right_margin - column_width(legend_, picture_.figures) - end_labels_;
        const double top = 44.0 + 21.0 * static_cast<double>(subtitles_.size()) + above_panels;
        double bottom = height_ - below_panels;
        if (any_colour(picture_)) {
            colour_ = {left, right, bottom - colour_height, bottom};
            bottom = colour_.top - gap;
        }
        if (ranges_.residual_mag) {
            residual_ = {left, right, bottom - residual_height, bottom};
            bottom = residual_.top - gap;
        }
        main_ = {left, right, top, bottom};
    }

    void fill_legend() {
        using Kind = LegendEntry::Kind;
        bool any_line = false, any_limit = false;
        std::optional<SymbolLook> outlier;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            legend_.entries.push_back({Kind::symbol, symbol_of(looks_[b], 0), band_words(b)});
            any_line = any_line || bands_[b].has_line();
            any_limit = any_limit || !bands_[b].limits.empty();
            for (const Mark& m : bands_[b].marks) {
                if (m.outlier && !outlier) outlier = symbol_of(looks_[b], m.series);
            }
        }
        const BandLook grey =
            several() ? BandLook{slate, Shape::circle} : BandLook{looks_[0].colour, looks_[0].shape};
        if (series_.size() > 1) {
            for (std::size_t s = 0; s < series_.size(); ++s)
                legend_.entries.push_back({Kind::symbol, symbol_of(grey, s),
                                           s == 0 && series_[0] == "own" ? "own points" : series_[s]});
        }
        const SymbolLook plain = symbol_of(grey, 0);
        if (outlier) {
            if (several()) outlier = plain;
            legend_.entries.push_back({Kind::outlier, *outlier, "outlier"});
        }
        if (any_line) legend_.entries.push_back({Kind::fit, plain, "fit ± 1σ"});
        if (any_limit) legend_.entries.push_back({Kind::limit, plain, "limit"});
        if (any_time_mark(picture_, bands_, {axis_.jd, ranges_.mag}))
            legend_.entries.push_back({Kind::tick, plain, "time ± 1σ"});
        if (!edges_.empty()) legend_.entries.push_back({Kind::edge, plain, "off scale"});
        notes();
    }

    void notes() {
        if (ranges_.errors_differ) {
            legend_.notes.emplace_back("bars: random;");
            legend_.notes.emplace_back("thin: with common");
        }
        const bool moved =
            std::any_of(picture_.bands.begin(), picture_.bands.end(), [](const CurveOnPaper& paper) {
                return std::any_of(paper.series_offset_mag.begin(), paper.series_offset_mag.end(),
                                   [](double offset) { return offset != 0.0; });
            });
        if (moved) {
            legend_.notes.emplace_back("offsets between");
            legend_.notes.emplace_back("series taken off");
        }
        if (points_ < all_points_) {
            legend_.notes.push_back(fmt::format("{} of {}", points_, all_points_));
            legend_.notes.emplace_back("points drawn");
        }
        if (series_.size() == 1 && series_[0] != "own" && series_[0] != picture_.title)
            legend_.notes.push_back(shortened(series_[0], 26));
    }

    // The mark of the transient (four ticks about an open centre), the title, and the subtitles.
    void heading() {
        const double x = left + 10.0, y = 33.0;
        for (const auto& [dx, dy] : {std::pair{1.0, 0.0}, {-1.0, 0.0}, {0.0, 1.0}, {0.0, -1.0}})
            page_.line(x + 4.0 * dx, y + 4.0 * dy, x + 10.0 * dx, y + 10.0 * dy, 2.4, ember);
        // The SVG terminal knows no bold letters.
        page_.label(
            left + 32.0, y, shortened(picture_.title, 70),
            fmt::format("left font 'sans-serif{},{}' tc rgb '{}'", kind_ == PaperKind::svg ? "" : ":Bold",
                        kind_ == PaperKind::svg ? 20 : 19, ink));
        double line = y + 28.0;
        for (const std::string& subtitle : subtitles_) {
            page_.label(left + 32.0, line, subtitle, words_style("left", usual_font, slate));
            line += 21.0;
        }
    }

    void julian_words(const PaperBox& lowest) {
        page_.label(0.5 * (lowest.left + lowest.right), lowest.bottom + 46.0,
                    fmt::format("JD (TDB, barycentric) − {:.0f} (d)", axis_.offset),
                    words_style("center", usual_font, ink));
    }

    // Days since maximum where one is known, else the calendar.
    void upper_axis() {
        const auto words = [&](const std::string& text) {
            page_.label(0.5 * (main_.left + main_.right), main_.top - 42.0, text,
                        words_style("center", usual_font, slate));
        };
        const auto ticks = [&](std::string_view list, const Range& range) {
            page_.add(
                "set border 7\nset x2range [{:.6f}:{:.6f}]\nset x2tics {} nomirror out scale 0.6 "
                "offset 0,-0.2 textcolor rgb '{}' font 'sans-serif,13'\n",
                range.low, range.high, list, slate);
        };
        if (picture_.maximum_bjd_tdb && std::isfinite(*picture_.maximum_bjd_tdb)) {
            const double maximum = *picture_.maximum_bjd_tdb;
            const double step = round_step(axis_.jd.span(), 7);
            ticks(fmt::format("{:.9g} format '%.{}f'", step, decimals_of_step(step)),
                  {axis_.jd.low - maximum, axis_.jd.high - maximum});
            words(fmt::format("days since {}maximum (d)",
                              picture_.maximum_of.empty() ? "" : picture_.maximum_of + " "));
            return;
        }
        const double lag = ranges_.utc_lag_d;
        std::string list;
        for (const DateTick& t :
             date_ticks(axis_.jd.low - lag, axis_.jd.high - lag, main_.width() > 700.0 ? 8 : 6)) {
            list += fmt::format("{}{} {:.6f}", list.empty() ? "" : ", ", gnuplot_text(t.label),
                                axis_.day(t.jd_utc + lag));
        }
        if (list.empty()) return;
        ticks("(" + list + ")", {axis_.day(axis_.jd.low), axis_.day(axis_.jd.high)});
        words("date (UTC)");
    }

    // One data block a kind, band and series: points $m, limits $l; $x outliers, $f the line of the fit.
    void data() {
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            for (std::size_t s = 0; s < series_.size(); ++s) {
                page_.add("$m{}s{} << EOD\n", b, s);
                for (const Mark& m : bands_[b].marks) {
                    if (m.series == s) point_row(m);
                }
                page_.add("EOD\n");
            }
            page_.add("$x{} << EOD\n", b);
            for (const Mark& m : bands_[b].marks) {
                if (m.outlier) point_row(m);
            }
            page_.add("EOD\n$l{} << EOD\n", b);
            for (const LimitMark& l : bands_[b].limits)
                page_.add("{:.6f} {:.6f}\n", axis_.day(l.jd), l.mag);
            page_.add("EOD\n$f{} << EOD\n", b);
            for (const LineSample& at : bands_[b].line)
                page_.add("{:.6f} {:.6f} {:.6f}\n", axis_.day(at.jd), at.mag, at.err);
            page_.add("EOD\n");
        }
    }

    void point_row(const Mark& m) {
        // A missing residual is far outside its panel.
        page_.add("{:.6f} {:.6f} {:.6f} {:.6f} {}\n", axis_.day(m.jd), m.mag, m.random_err, m.total_err,
                  m.residual_mag ? fmt::format("{:.6f}", *m.residual_mag) : "?");
    }

    void main_panel() {
        const MarksOnPaper marks = place_time_marks(picture_, bands_, {axis_.jd, ranges_.mag}, main_);
        mag_ = marks.mag;
        page_.open_panel(main_);
        time_axis(page_, axis_, !ranges_.residual_mag && !any_colour(picture_));
        page_.add("set datafile missing '?'\nset yrange [{:.6f}:{:.6f}]\n", mag_.high, mag_.low);
        const double step = round_step(mag_.span(), 7);
        page_.add("set ytics {:.9g} format '%.{}f'\n", step, std::max(decimals_of_step(step), 1));
        const bool shifted = std::any_of(picture_.bands.begin(), picture_.bands.end(),
                                         [](const CurveOnPaper& p) { return p.shift_mag != 0.0; });
        page_.upright_label(main_, !several() ? band_words(0) + " (mag)"
                                   : shifted  ? "magnitude + shift (mag)"
                                              : "magnitude (mag)");
        upper_axis();
        if (!ranges_.residual_mag && !any_colour(picture_)) julian_words(main_);
        data();
        std::vector<std::string> plots;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!bands_[b].has_line()) continue;
            plots.push_back(
                fmt::format("$f{} using 1:($2-$3):($2+$3) with filledcurves fs transparent solid 0.2 "
                            "noborder fc rgb '{}'",
                            b, looks_[b].colour));
            if (!crowded_) plots.push_back(line_plot(b, looks_[b].colour));
        }
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!bands_[b].limits.empty()) limit_plots(b, plots);
            point_plots(b, 2, plots);
        }
        // Under a crowd of points nobody would see the line.
        for (std::size_t b = 0; b < bands_.size() && crowded_; ++b) {
            if (bands_[b].has_line()) plots.push_back(line_plot(b, ink));
        }
        draw_edges();
        draw_time_marks(page_, marks, looks_, main_);
        end_labels();
        // Something to plot even where all points are off the scale.
        if (plots.empty()) plots.emplace_back("1/0");
        page_.plot(plots);
    }

    [[nodiscard]] std::string line_plot(std::size_t b, std::string_view colour) const {
        return fmt::format("$f{} using 1:2 with lines lw 1.8 {} lc rgb '{}'", b, dashes[b % dashes.size()],
                           colour);
    }

    [[nodiscard]] double x_of(double jd) const {
        return main_.left + (jd - axis_.jd.low) / axis_.jd.span() * main_.width();
    }
    [[nodiscard]] double y_of(double mag) const {
        return main_.top + (mag - mag_.low) / mag_.span() * main_.height();
    }

    void draw_edges() {
        std::size_t values = 0;
        for (const EdgeMark& edge : edges_) {
            if (&edge - edges_.data() >= 200) break;
            const bool above = edge.mag < mag_.low + 0.5 * mag_.span();
            const double x = x_of(edge.jd), tip = above ? main_.top + 2.0 : main_.bottom - 2.0;
            const double tail = above ? tip + 16.0 : tip - 16.0;
            page_.arrow(x, tail, x, tip, looks_[edge.band].colour);
            if (values++ >= most_edge_values) continue;
            const bool at_right = x > main_.right - 60.0;
            const double mag = edge.mag - picture_.bands[edge.band].shift_mag;
            page_.label(
                at_right ? x - 8.0 : x + 8.0, above ? tip + 9.0 : tip - 9.0,
                fmt::format("{}{:.1f}", edge.limit ? "> " : "", mag),
                words_style(at_right ? "right" : "left", small_font, darker(looks_[edge.band].colour)));
        }
    }

    // Each band is named beside its last point or limit, at the panel's edge.
    void end_labels() {
        if (!several()) return;
        std::vector<double> wanted, heights;
        std::vector<std::size_t> whose;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            std::optional<std::pair<double, double>> last;
            for (const Mark& m : bands_[b].marks) {
                if (!last || m.jd >= last->first) last = {m.jd, m.mag};
            }
            for (const LimitMark& l : bands_[b].limits) {
                if (!last) last = {l.jd, l.mag};
            }
            const auto& line = bands_[b].line;
            if (!line.empty() && (!last || line.back().jd >= last->first))
                last = {line.back().jd, line.back().mag};
            if (!last) continue;
            wanted.push_back(y_of(last->second));
            heights.push_back(end_label_height);
            whose.push_back(b);
        }
        const auto placed = moved_apart(wanted, heights, main_.top, main_.bottom);
        for (std::size_t i = 0; i < whose.size(); ++i)
            page_.label(main_.right + 8.0, placed[i], band_words(whose[i]),
                        words_style("left", usual_font, darker(looks_[whose[i]].colour)));
    }

    void limit_plots(std::size_t b, std::vector<std::string>& plots) {
        const double half_bar = 5.0 / main_.width() * axis_.jd.span();
        const double length = 26.0 / main_.height() * mag_.span();
        plots.push_back(
            fmt::format("$l{} using ($1-{:.6f}):2:({:.6f}):(0) with vectors nohead lw 1.4 lc rgb '{}'", b,
                        half_bar, 2.0 * half_bar, looks_[b].colour));
        plots.push_back(
            fmt::format("$l{} using 1:2:(0):({:.6f}) with vectors head empty size screen 0.008,24,90 lw 1.4 "
                        "lc rgb '{}'",
                        b, length, looks_[b].colour));
    }

    // Thin bars for the total error, thick ones for the random part, then the mark on a halo of paper so that
    // neighbours stay apart; outliers are crossed. Series of others lie below one's own.
    void point_plots(std::size_t b, int column, std::vector<std::string>& plots) {
        const auto has = [&](auto asked) {
            return std::any_of(bands_[b].marks.begin(), bands_[b].marks.end(), [&](const Mark& m) {
                return asked(m) && (column == 2 || m.residual_mag.has_value());
            });
        };
        for (std::size_t s = series_.size(); s-- > 0;) {
            if (!has([s](const Mark& m) { return m.series == s; })) continue;
            const SymbolLook look = symbol_of(looks_[b], s);
            const std::string block = fmt::format("$m{}s{}", b, s);
            const std::string at = fmt::format("1:{}", column);
            // gnuplot's own error bars would clear a ring about each point, however small.
            // A crowd of bars is drawn with some transparency (the first two digits).
            const std::string bar_colour = crowded_ ? "#b0" + look.colour.substr(1) : look.colour;
            const auto bars = [&](int err_column, double width) {
                plots.push_back(
                    fmt::format("{} using 1:(${}-${}):(0):(2*${}) with vectors nohead lw {:.2f} lc rgb '{}'",
                                block, column, err_column, err_column, width, bar_colour));
            };
            if (ranges_.errors_differ) bars(4, 0.45 * bar_width_);
            bars(3, bar_width_);
            const SymbolLook halo{
                .colour = paper, .type = static_cast<int>(looks_[b].shape), .size = look.size};
            if (!crowded_ && size_ > 0.6) plots.push_back(page_.points(block, at, halo, 1.2 * size_));
            plots.push_back(page_.points(block, at, look, size_));
        }
        if (has([](const Mark& m) { return m.outlier; })) {
            plots.push_back(page_.points(fmt::format("$x{}", b), fmt::format("1:{}", column),
                                         {.colour = ink, .type = 2}, std::max(1.5 * size_, 0.8)));
        }
    }

    // Residuals beyond the panel are marked at its edge by an open arrow that points to where they are.
    void residual_panel() {
        const double half = *ranges_.residual_mag;
        page_.open_panel(residual_);
        const bool lowest = !any_colour(picture_);
        time_axis(page_, axis_, lowest);
        page_.add("set yrange [{:.6f}:{:.6f}]\n", half, -half);
        const double step = round_step(2.0 * half, 4);
        const int decimals = std::max(decimals_of_step(step), 1);
        std::string ticks = "'0' 0";
        for (double tick = step; tick <= half; tick += step)
            ticks += fmt::format(", '+{0:.{1}f}' {0:.9f}, '−{0:.{1}f}' -{0:.9f}", tick, decimals);
        page_.add("set ytics ({})\n", ticks);
        page_.upright_label(residual_, "residual (mag)");
        if (lowest) julian_words(residual_);
        std::vector<std::string> plots{fmt::format("0 with lines lw 1.2 dt 2 lc rgb '{}'", slate)};
        const auto beyond = [&](const auto& m, std::size_t b) {
            if (!m.residual_mag || std::abs(*m.residual_mag) <= half) return;
            const bool above = *m.residual_mag < 0.0;
            const double tip = above ? residual_.top + 2.0 : residual_.bottom - 2.0;
            page_.arrow(x_of(m.jd), above ? tip + 14.0 : tip - 14.0, x_of(m.jd), tip, looks_[b].colour);
        };
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            point_plots(b, 5, plots);
            for (const Mark& m : bands_[b].marks)
                beyond(m, b);
        }
        for (const EdgeMark& edge : edges_)
            beyond(edge, edge.band);
        page_.plot(plots);
    }

    const CurvePicture& picture_;
    PaperKind kind_;
    std::vector<BandMarks> bands_;
    CurveRanges ranges_;
    std::vector<std::string> series_, subtitles_;
    int height_;
    CurvePage page_;
    std::vector<BandLook> looks_;
    std::vector<EdgeMark> edges_;
    Legend legend_;
    TimeAxis axis_;
    Range mag_;  // of the main panel, with room for the words of the marks
    PaperBox main_, residual_, colour_;
    double end_labels_ = 24.0, size_ = 1.0, bar_width_ = 1.5;
    std::size_t all_points_ = 0, points_ = 0;
    bool crowded_ = false;
};

}  // namespace

Result<std::string> curve_script(const CurvePicture& picture, PaperKind kind) {
    const auto series = series_of(picture);
    std::vector<BandMarks> bands;
    for (const CurveOnPaper& one : picture.bands)
        bands.push_back(marks_of(one, series));
    const auto ranges = ranges_of(picture, bands);
    if (!ranges) {
        return fail({.what = "There is nothing to draw: no point has a time and a magnitude.",
                     .where = picture.title,
                     .mend = "Measure a night first, or widen the range of dates."});
    }
    return Script(picture, kind, std::move(bands), *ranges).write();
}

}  // namespace emberline::picture
