// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "picture/axis_ticks.hpp"
#include "picture/curve_marks.hpp"
#include "picture/label_places.hpp"
#include "picture/night_air.hpp"
#include "picture/sheet_parts.hpp"

namespace emberline::picture {
namespace {

constexpr double letter_size = 12.5, small_letters = 11.5;
constexpr std::size_t most_points = 1500;

// Symbols and words side by side above a panel.
class LegendRow {
  public:
    LegendRow(Drawing& drawing, double x, double y) : drawing_(drawing), x_(x), y_(y) {}
    void symbol(Shape shape, Tone tone, const std::string& words, bool open = false) {
        drawing_.symbol({x_ + 6.0, y_ - 4.5}, shape, 4.8, tone, open);
        put(words, 18.0);
    }
    void limit(Tone tone, const std::string& words) {
        draw_limit_arrow(drawing_, {x_ + 6.0, y_ - 11.0}, tone, 4.0);
        put(words, 18.0);
    }
    void line(Tone tone, const std::string& words) {
        drawing_.line({{x_, y_ - 4.5}, {x_ + 20.0, y_ - 4.5}}, tone, 1.8);
        put(words, 26.0);
    }
    void ring(Tone tone, const std::string& words) {
        drawing_.circle({x_ + 7.0, y_ - 4.5}, 7.0, tone, 2.0);
        put(words, 20.0);
    }

  private:
    void put(const std::string& words, double room) {
        drawing_.words({x_ + room, y_}, words, letter_size, Align::start, Tone::ink);
        x_ += room + width_of(words, letter_size) + 18.0;
    }
    Drawing& drawing_;
    double x_, y_;
};

std::string shifted_name(const CurveOnPaper& band) {
    if (band.shift_mag == 0.0) return band.curve.band.name();
    return fmt::format("{} {} {:.1f}", band.curve.band.name(), band.shift_mag > 0.0 ? "+" : "−",
                       std::abs(band.shift_mag));
}

class CurveDrawing {
  public:
    CurveDrawing(const NightSheet& sheet, const SheetLooks& looks)
        : sheet_(sheet), curve_(*sheet.curve), looks_(looks) {}

    std::optional<Drawing> draw() {
        const auto series = series_of(curve_);
        for (const CurveOnPaper& one : curve_.bands)
            bands_.push_back(marks_of(one, series));
        const auto ranges = ranges_of(curve_, bands_);
        if (!ranges) return std::nullopt;
        std::size_t points = thin_out(bands_, *ranges, most_points);
        size_ = points <= 80 ? 4.6 : points <= 400 ? 3.4 : 2.4;
        x_ = {ranges->jd.low, ranges->jd.high, left, sheet_width - 14.0};
        y_ = {ranges->mag.low, ranges->mag.high, top, bottom};
        const double offset =
            ranges->jd.span() < 3.0 ? std::floor(ranges->jd.low) : std::floor(ranges->jd.low / 100.0) * 100.0;
        this_night();
        draw_level_axis(drawing_, x_, top, bottom, true, offset, 7);
        const bool shifted = std::any_of(curve_.bands.begin(), curve_.bands.end(),
                                         [](const CurveOnPaper& p) { return p.shift_mag != 0.0; });
        draw_upright_axis(drawing_, y_, left, x_.to, shifted ? "magnitude + shift" : "magnitude", 6);
        draw_dates(drawing_, x_, top, ranges->utc_lag_d, 7);
        drawing_.words({0.5 * (left + x_.to), bottom + 39.0}, fmt::format("BJD (TDB) − {:.0f}, days", offset),
                       letter_size, Align::middle, Tone::ink);
        for (std::size_t b = 0; b < bands_.size(); ++b)
            fit(b);
        for (std::size_t b = 0; b < bands_.size(); ++b)
            marks(b);
        rings();
        legend();
        return std::move(drawing_);
    }

  private:
    static constexpr double left = 74.0, top = 62.0, bottom = 330.0, height = 376.0;

    [[nodiscard]] Tone tone(std::size_t b) const { return looks_.tone(curve_.bands[b].curve.band.name()); }
    [[nodiscard]] bool inside(double jd, double mag) const {
        return jd >= x_.low && jd <= x_.high && mag >= y_.low && mag <= y_.high;
    }
    [[nodiscard]] double height_at(double mag) const { return y_.at(std::clamp(mag, y_.low, y_.high)); }

    // A strip of the night behind everything.
    void this_night() {
        double low = HUGE_VAL, high = -HUGE_VAL;
        for (const SheetBand& band : sheet_.bands) {
            low = std::min(low, band.measured.bjd_tdb);
            high = std::max(high, band.measured.bjd_tdb);
        }
        if (!(low <= high)) return;
        const double from = std::max(x_.at(low) - 11.0, x_.from), to = std::min(x_.at(high) + 11.0, x_.to);
        drawing_.rectangle({from, top}, to - from, bottom - top, Tone::ember, 0.12);
    }

    void fit(std::size_t b) {
        const auto& line = bands_[b].line;
        if (line.size() < 2) return;
        std::vector<DrawPoint> middle;
        DrawArea band{.corners = {}, .tone = tone(b), .opacity = 0.16};
        for (const LineSample& s : line) {
            band.corners.push_back({x_.at(s.jd), height_at(s.mag - s.err)});
            if (inside(s.jd, s.mag)) middle.push_back({x_.at(s.jd), y_.at(s.mag)});
        }
        for (auto s = line.rbegin(); s != line.rend(); ++s)
            band.corners.push_back({x_.at(s->jd), height_at(s->mag + s->err)});
        drawing_.add(std::move(band));
        drawing_.line(std::move(middle), tone(b), 1.5);
    }

    void marks(std::size_t b) {
        const Shape shape = looks_.shape(curve_.bands[b].curve.band.name());
        for (const LimitMark& l : bands_[b].limits) {
            if (inside(l.jd, l.mag)) draw_limit_arrow(drawing_, {x_.at(l.jd), y_.at(l.mag)}, tone(b), size_);
        }
        for (const Mark& m : bands_[b].marks) {
            if (!inside(m.jd, m.mag)) continue;
            const double x = x_.at(m.jd);
            draw_bar(drawing_, x, height_at(m.mag - m.total_err), height_at(m.mag + m.total_err), tone(b),
                     0.9, 3.0);
            draw_bar(drawing_, x, height_at(m.mag - m.random_err), height_at(m.mag + m.random_err), tone(b),
                     2.0, 0.0);
            drawing_.symbol({x, y_.at(m.mag)}, shape, size_, tone(b));
        }
    }

    void rings() {
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            for (const SheetBand& band : sheet_.bands) {
                if (band.measured.band != curve_.bands[b].curve.band) continue;
                const auto mag =
                    band.measured.is_limit ? band.measured.limit_mag : band.measured.magnitude_mag;
                if (!mag) continue;
                const double shown = *mag + curve_.bands[b].shift_mag;
                if (inside(band.measured.bjd_tdb, shown))
                    drawing_.circle({x_.at(band.measured.bjd_tdb), y_.at(shown)}, size_ + 5.5, Tone::ember,
                                    2.0);
            }
        }
    }

    void legend() {
        LegendRow row(drawing_, left, 20.0);
        bool limits = false, lines = false;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            row.symbol(looks_.shape(curve_.bands[b].curve.band.name()), tone(b),
                       shifted_name(curve_.bands[b]));
            limits = limits || !bands_[b].limits.empty();
            lines = lines || bands_[b].has_line();
        }
        const Tone grey = bands_.size() == 1 ? tone(0) : Tone::slate;
        if (limits) row.limit(grey, "limit");
        if (lines) row.line(grey, "fit ± 1σ");
        row.ring(Tone::ember, "this night");
    }

    const NightSheet& sheet_;
    const CurvePicture& curve_;
    const SheetLooks& looks_;
    std::vector<BandMarks> bands_;
    PanelAxis x_, y_;
    double size_ = 4.6;
    Drawing drawing_{sheet_width, height};
};

}  // namespace

std::optional<Drawing> draw_sheet_curve(const NightSheet& sheet, const SheetLooks& looks) {
    if (!sheet.curve) return std::nullopt;
    return CurveDrawing(sheet, looks).draw();
}

namespace {

// Of a panel of residuals; `heights`: how far from zero each star's bar reaches. A star far off must not
// flatten the others: it stands at the edge with its value.
double half_range(std::vector<double> heights) {
    constexpr double usual_half_mag = 0.02;
    std::sort(heights.begin(), heights.end());
    const double usual = heights[heights.size() / 2];
    double half = usual_half_mag;
    for (const double h : heights) {
        if (h <= 5.0 * usual) half = std::max(half, 1.15 * h);
    }
    return half;
}

void residual_legend(LegendRow& row, const std::vector<const SheetStar*>& stars) {
    const auto any = [&](auto asked) {
        return std::any_of(stars.begin(), stars.end(), [&](const SheetStar* s) { return asked(*s); });
    };
    row.symbol(Shape::square, Tone::slate, "comparison");
    if (any([](const SheetStar& s) { return s.mark == StarMark::check; }))
        row.symbol(Shape::triangle, Tone::slate, "check");
    if (any([](const SheetStar& s) { return s.suspect || s.mark == StarMark::unused; }))
        row.symbol(Shape::square, Tone::slate, "suspect or not used", true);
}

// The stars' names, each with a line to its mark where it stands apart.
void draw_names(Drawing& drawing, const std::vector<std::string>& names,
                const std::vector<WantedLabel>& wanted, const std::vector<LabelPlace>& places) {
    for (std::size_t i = 0; i < places.size(); ++i) {
        const PaperBox& box = places[i].box;
        const DrawPoint middle{0.5 * (box.left + box.right), 0.5 * (box.top + box.bottom)};
        if (places[i].far) {
            drawing.line({{wanted[i].x, wanted[i].y},
                          {std::clamp(wanted[i].x, box.left, box.right),
                           std::clamp(wanted[i].y, box.top, box.bottom)}},
                         Tone::slate, 0.7);
        }
        drawing.words({middle.x, middle.y + 0.36 * small_letters}, names[i], small_letters, Align::middle,
                      Tone::ink);
    }
}

}  // namespace

std::optional<Drawing> draw_residuals(const SheetBand& band, double width) {
    constexpr double height = 250.0, left = 74.0, top = 34.0, bottom = 204.0;
    std::vector<const SheetStar*> stars;
    std::vector<double> heights;
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (const SheetStar& s : band.stars) {
        if (!s.residual_mag) continue;
        stars.push_back(&s);
        heights.push_back(std::abs(*s.residual_mag) + s.err_mag.value_or(0.0));
        low = std::min(low, s.catalogue_mag.value);
        high = std::max(high, s.catalogue_mag.value);
    }
    if (stars.empty()) return std::nullopt;
    const double half = half_range(std::move(heights));
    const double margin = std::max(0.08 * (high - low), 0.3);
    const PanelAxis x{low - margin, high + margin, left, width - 14.0}, y{half, -half, top, bottom};
    Drawing drawing(width, height);
    draw_level_axis(drawing, x, top, bottom, true, 0.0, width > 600.0 ? 8 : 5);
    draw_upright_axis(drawing, y, left, x.to, "residual (mag)", 5);
    drawing.line({{left, y.at(0.0)}, {x.to, y.at(0.0)}}, Tone::slate, 1.2);
    drawing.words({0.5 * (left + x.to), bottom + 38.0},
                  fmt::format("catalogue magnitude, {}", sequence_band(band.measured.band).name()),
                  letter_size, Align::middle, Tone::ink);
    LegendRow row(drawing, left, 20.0);
    residual_legend(row, stars);
    std::sort(stars.begin(), stars.end(), [](const SheetStar* a, const SheetStar* b) {
        return a->catalogue_mag.value < b->catalogue_mag.value;
    });
    std::vector<WantedLabel> wanted;
    std::vector<Disc> discs;
    std::vector<PaperBox> bars;
    std::vector<std::string> names;
    for (const SheetStar* s : stars) {
        const double at = x.at(s->catalogue_mag.value), value = *s->residual_mag;
        const double err = s->err_mag.value_or(0.0), shown = y.at(std::clamp(value, -half, half));
        const bool off = std::abs(value) > half;
        if (!off) {
            const double from = y.at(std::min(value + err, half)), to = y.at(std::max(value - err, -half));
            draw_bar(drawing, at, from, to, Tone::slate, 1.3, 3.0);
            bars.push_back({at - 3.5, at + 3.5, from - 1.0, to + 1.0});
        }
        drawing.symbol({at, shown}, s->mark == StarMark::check ? Shape::triangle : Shape::square, 4.8,
                       Tone::slate, s->suspect || s->mark == StarMark::unused);
        names.push_back(off ? fmt::format("{} {:+.2f}", s->label, value) : s->label);
        discs.push_back({at, shown, 6.0});
        wanted.push_back({at, shown, 8.0, width_of(names.back(), small_letters), small_letters});
    }
    draw_names(drawing, names, wanted,
               place_labels(wanted, discs, bars, {left + 2.0, x.to, top + 2.0, bottom - 2.0}));
    return drawing;
}

namespace {

void draw_air_panel(Drawing& drawing, const NightSheet& sheet, const SheetLooks& looks,
                    const AirQuantity& quantity, const PanelAxis& x, double top, double bottom) {
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (const SheetFrame& f : sheet.frames) {
        const auto value = quantity.value(f.judged);
        if (!value || !std::isfinite(*value)) continue;
        low = std::min(low, *value);
        high = std::max(high, *value);
    }
    if (!(low <= high)) {
        drawing.outline({x.from, top}, x.to - x.from, bottom - top, Tone::faint, 0.8);
        drawing.words({0.5 * (x.from + x.to), 0.5 * (top + bottom) + 4.0},
                      fmt::format("{}: not known", quantity.short_name), letter_size, Align::middle,
                      Tone::slate);
        return;
    }
    double margin = std::max(0.12 * (high - low), quantity.from_zero ? 0.09 * high : 0.05);
    if (quantity.from_zero && high <= 0.0) margin = 1.0;  // nothing but zeros: an axis all the same
    const double least = quantity.from_zero ? 0.0 : low - margin, most = high + margin;
    const PanelAxis y =
        quantity.bright_up ? PanelAxis{least, most, top, bottom} : PanelAxis{most, least, top, bottom};
    draw_level_axis(drawing, x, top, bottom, false, std::floor(x.low - 0.5) + 0.5, 6);
    draw_upright_axis(drawing, y, x.from, x.to, quantity.short_name, 3);
    const double size = sheet.frames.size() <= 80 ? 4.2 : sheet.frames.size() <= 400 ? 3.0 : 1.8;
    for (const SheetFrame& f : sheet.frames) {
        const auto value = quantity.value(f.judged);
        if (!value || !std::isfinite(*value)) continue;
        const std::string band = f.judged.band.name();
        drawing.symbol({x.at(f.judged.jd_utc), y.at(*value)}, looks.shape(band), size, looks.tone(band),
                       !f.judged.used);
    }
}

}  // namespace

std::optional<Drawing> draw_air(const NightSheet& sheet, const SheetLooks& looks) {
    if (sheet.frames.empty()) return std::nullopt;
    constexpr double left = 74.0, panel = 88.0, gap = 14.0, top = 62.0;
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (const SheetFrame& f : sheet.frames) {
        low = std::min(low, f.judged.jd_utc);
        high = std::max(high, f.judged.jd_utc);
    }
    const double margin = std::max(0.03 * (high - low), 3.0 / 1440.0);
    const PanelAxis x{low - margin, high + margin, left, sheet_width - 14.0};
    Drawing drawing(sheet_width, top + 3.0 * panel + 2.0 * gap + 12.0);
    LegendRow row(drawing, left, 20.0);
    for (const std::string& band : looks.bands) {
        const bool any = std::any_of(sheet.frames.begin(), sheet.frames.end(),
                                     [&](const SheetFrame& f) { return f.judged.band.name() == band; });
        if (any) row.symbol(looks.shape(band), looks.tone(band), band);
    }
    if (std::any_of(sheet.frames.begin(), sheet.frames.end(),
                    [](const SheetFrame& f) { return !f.judged.used; }))
        row.symbol(Shape::circle, Tone::slate, "not used", true);
    for (std::size_t p = 0; p < air_quantities().size(); ++p) {
        const double from = top + static_cast<double>(p) * (panel + gap);
        draw_air_panel(drawing, sheet, looks, air_quantities()[p], x, from, from + panel);
    }
    draw_dates(drawing, x, top, 0.0, 8);
    return drawing;
}

}  // namespace emberline::picture
