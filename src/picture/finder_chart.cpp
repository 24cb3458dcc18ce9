// SPDX-License-Identifier: MIT
#include "picture/finder_chart.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "picture/axis_ticks.hpp"
#include "picture/band_look.hpp"
#include "picture/curve_page.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/label_places.hpp"
#include "picture/paper.hpp"
#include "picture/printed_text.hpp"

namespace emberline::picture {
namespace {

constexpr int height = 884;
constexpr PaperBox field{66.0, 786.0, 100.0, 820.0};
constexpr double legend_left = 818.0;
// More discs than these make a grey field in which nobody finds anything; from `crowded` on they shrink.
constexpr std::size_t most_stars = 1500;
constexpr double crowded = 300.0, most_shrinking = 0.6;
constexpr double least_radius = 1.1, most_radius = 10.5, radius_per_mag = 1.25, rim = 0.9;
// gnuplot's filled circle (point type 7) of size 1 has this radius, in units of terminal(). Measured on
// version 5.4, to 1 %.
constexpr double svg_point_radius = 5.25, other_point_radius = 2.88;
// A transient this near to its host's nucleus, as a share of the chart's radius, gets a view of its own.
constexpr double near_nucleus = 0.12, inset_of_nucleus = 2.5, least_inset_arcsec = 45.0;
constexpr double inset_side = 124.0, inset_top = 560.0, inset_enlargement = 1.35;
constexpr double reticle_open = 8.0, reticle_reach = 24.0, cross_reach = 7.0;
constexpr double mark_gap = 3.5, least_mark = 7.0, triangle_of_square = 1.35;
constexpr double label_size = 13.0, letter_width = 7.6, label_height = 13.0;
// Beyond it the tangent plane bends scales by more than a tenth.
constexpr double most_chart_radius_arcmin = 17.0 * 60.0;

struct Place {
    double x = 0.0, y = 0.0;
};

class Chart {
  public:
    Chart(const FinderChart& chart, PaperKind kind)
        : chart_(chart),
          page_(kind, height),
          point_radius_(kind == PaperKind::svg ? svg_point_radius : other_point_radius) {
        choose_stars();
        for (const ChartMark& mark : chart.marks) {
            const Place at = place(mark.star.position);
            if (!inside(at)) continue;
            marks_.push_back(&mark);
            places_.push_back(at);
            half_sizes_.push_back(std::max(least_mark, radius(mark.star.magnitude_mag) + mark_gap));
        }
    }

    std::string write() {
        heading();
        legend();
        legend_panel();
        field_panel();
        if (const auto half_arcsec = inset()) inset_panel(*half_arcsec);
        return page_.take();
    }

  private:
    [[nodiscard]] Place place(const SkyPosition& position) const {
        return place(position, field, 60.0 * chart_.radius_arcmin);
    }
    [[nodiscard]] Place place(const SkyPosition& position, const PaperBox& on, double half_arcsec) const {
        const SkyOffset at = offset(chart_.transient, position);
        const double px = 0.5 * on.width() / half_arcsec;
        return {0.5 * (on.left + on.right) - px * at.east.arcseconds(),
                0.5 * (on.top + on.bottom) - px * at.north.arcseconds()};
    }
    static bool inside(const Place& at, const PaperBox& on = field) {
        return at.x > on.left && at.x < on.right && at.y > on.top && at.y < on.bottom;
    }

    // Marked stars are drawn however many are brighter.
    void choose_stars() {
        for (const ChartStar& star : chart_.stars) {
            const bool near = separation(chart_.transient, star.position).degrees() < 60.0;
            if (near && std::isfinite(star.magnitude_mag) && inside(place(star.position)))
                stars_.push_back(star);
        }
        const auto brighter = [](const ChartStar& a, const ChartStar& b) {
            return a.magnitude_mag < b.magnitude_mag;
        };
        std::sort(stars_.begin(), stars_.end(), brighter);
        if (stars_.size() > most_stars) stars_.resize(most_stars);
        complete_ = stars_.size();
        depth_ = stars_.empty() ? 15.0 : stars_.back().magnitude_mag;
        shrinking_ =
            std::clamp(std::sqrt(crowded / static_cast<double>(stars_.size() + 1)), most_shrinking, 1.0);
        for (const ChartMark& mark : chart_.marks) {
            if (mark.star.magnitude_mag > depth_ && inside(place(mark.star.position)))
                stars_.push_back(mark.star);
        }
        std::sort(stars_.begin(), stars_.end(), brighter);
        brightest_ = stars_.empty() ? depth_ : stars_.front().magnitude_mag;
        faintest_ = stars_.empty() ? depth_ : stars_.back().magnitude_mag;
    }

    [[nodiscard]] double radius(double magnitude_mag) const {
        const double range = std::max(faintest_ - brightest_, 1.0), most = shrinking_ * most_radius;
        const double slope = std::min(shrinking_ * radius_per_mag, (most - least_radius) / range);
        return std::clamp(least_radius + slope * (faintest_ - magnitude_mag), least_radius, most);
    }

    // Half its side, where there is one.
    [[nodiscard]] std::optional<double> inset() const {
        if (!chart_.nucleus) return std::nullopt;
        const double arcsec = separation(chart_.transient, *chart_.nucleus).arcseconds();
        if (arcsec > near_nucleus * 60.0 * chart_.radius_arcmin) return std::nullopt;
        return std::max(inset_of_nucleus * arcsec, least_inset_arcsec);
    }

    void heading() {
        page_.label(field.left, 30.0, shortened(chart_.name, 60), words_style("left", 20.0, ink));
        page_.label(field.left, 56.0,
                    with_minus(fmt::format("{}   {}", sexagesimal_hours(chart_.transient.ra, 2),
                                           sexagesimal_degrees(chart_.transient.dec, 1))) +
                        fmt::format("   (ICRS; stars where they stand in {:.1f})", chart_.epoch_jyear),
                    words_style("left", usual_font, ink));
        const std::string depth = stars_.empty()
                                      ? std::string("no stars")
                                      : fmt::format("{} stars to {} {:.1f}", complete_, chart_.band, depth_);
        page_.label(field.left, 78.0,
                    fmt::format("{0} of {1}; {2:.3g}′ × {2:.3g}′, north is up and east to the left", depth,
                                shortened(chart_.catalogue, 40), 2.0 * chart_.radius_arcmin),
                    words_style("left", small_font, slate));
    }

    void legend() {
        double y = field.top + 12.0;
        const auto entry = [&](std::string_view words) {
            page_.label(legend_left + 26.0, y, words, words_style("left", small_font, ink));
            y += 28.0;
        };
        const double x = legend_left + 8.0;
        reticle({x, y}, 0.42);
        entry("transient");
        if (std::any_of(marks_.begin(), marks_.end(), [](const ChartMark* m) { return !m->check; })) {
            square({x, y}, least_mark);
            entry("comparison");
        }
        if (std::any_of(marks_.begin(), marks_.end(), [](const ChartMark* m) { return m->check; })) {
            triangle({x, y}, least_mark);
            entry("check star");
        }
        if (chart_.nucleus && inside(place(*chart_.nucleus))) {
            cross({x, y});
            entry("nucleus");
        }
        magnitudes(y + 16.0);
        compass();
    }

    void magnitudes(double y) {
        page_.label(legend_left, y, fmt::format("{} (mag)", chart_.band),
                    words_style("left", small_font, slate));
        y += 26.0;
        const int first = static_cast<int>(std::ceil(brightest_)),
                  last = static_cast<int>(std::floor(faintest_));
        const int step = std::max(1, (last - first) / 8 + 1);
        for (int m = first; m <= last; m += step) {
            scale_.push_back({legend_left + 8.0, y, radius(m)});
            page_.label(legend_left + 26.0, y, fmt::format("{}", m), words_style("left", small_font, ink));
            y += 24.0;
        }
    }

    void compass() {
        const Place corner{legend_left + 62.0, field.bottom - 16.0};
        const double arm = 44.0;
        page_.arrow(corner.x, corner.y, corner.x, corner.y - arm, slate);
        page_.arrow(corner.x, corner.y, corner.x - arm, corner.y, slate);
        page_.label(corner.x, corner.y - arm - 11.0, "N", words_style("center", small_font, ink));
        page_.label(corner.x - arm - 10.0, corner.y, "E", words_style("center", small_font, ink));
    }

    void field_panel() {
        std::vector<WantedLabel> wanted;
        for (std::size_t i = 0; i < marks_.size(); ++i) {
            wanted.push_back({places_[i].x, places_[i].y,
                              half_sizes_[i] * (marks_[i]->check ? triangle_of_square : 1.0),
                              letter_width * static_cast<double>(letters(marks_[i]->label)), label_height});
        }
        const auto discs = discs_on(field, 60.0 * chart_.radius_arcmin, 1.0);
        const Place middle = place(chart_.transient);
        const std::vector<PaperBox> taken{{middle.x - reticle_reach, middle.x + reticle_reach,
                                           middle.y - reticle_reach, middle.y + reticle_reach}};
        const auto labels = place_labels(wanted, discs, taken, field);
        for (std::size_t i = 0; i < marks_.size(); ++i)
            draw_mark(i, labels[i]);
        if (chart_.nucleus && inside(place(*chart_.nucleus))) cross(place(*chart_.nucleus));
        reticle(middle, 1.0);
        axes();
        panel(field, discs, "$stars");
    }

    // The transient and the nucleus from near by.
    void inset_panel(double half_arcsec) {
        const PaperBox box{legend_left, legend_left + inset_side, inset_top, inset_top + inset_side};
        page_.label(box.left, box.top - 12.0, fmt::format("the middle, {:.0f}″ wide", 2.0 * half_arcsec),
                    words_style("left", small_font, slate));
        cross(place(*chart_.nucleus, box, half_arcsec));
        reticle(place(chart_.transient, box, half_arcsec), 0.65);
        page_.add("set border 15 lw 1 lc rgb '{}'\nunset xtics\nunset ytics\nunset grid\n", slate);
        panel(box, discs_on(box, half_arcsec, inset_enlargement), "$near");
    }

    // The discs beside the field.
    void legend_panel() {
        page_.add("unset border\nunset xtics\nunset ytics\n");
        panel({0.0, paper_width, 0.0, height}, scale_, "$scale");
    }

    [[nodiscard]] std::vector<Disc> discs_on(const PaperBox& on, double half_arcsec,
                                             double enlargement) const {
        std::vector<Disc> discs;
        for (const ChartStar& star : stars_) {
            const Place at = place(star.position, on, half_arcsec);
            if (inside(at, on)) discs.push_back({at.x, at.y, enlargement * radius(star.magnitude_mag)});
        }
        return discs;
    }

    // Each on a rim of paper, the brightest first, so that a fainter one upon it is seen.
    void panel(const PaperBox& on, const std::vector<Disc>& discs, const std::string& block) {
        page_.open_panel(on);
        page_.add("set xrange [{:.3f}:{:.3f}]\nset yrange [{:.3f}:{:.3f}]\n{} << EOD\n", on.left, on.right,
                  -on.bottom, -on.top, block);
        for (const Disc& disc : discs) {
            page_.add("{0:.2f} {1:.2f} {2:.4f} 0x{3}\n{0:.2f} {1:.2f} {4:.4f} 0x{5}\n", disc.x, -disc.y,
                      (disc.radius + rim) / point_radius_, hex(paper), disc.radius / point_radius_, hex(ink));
        }
        // gnuplot plots no empty block.
        page_.add("{:.2f} {:.2f} 0.01 0xffffff\nEOD\n", on.left, -on.top);
        page_.plot({block + " using 1:2:3:4 with points pt 7 ps variable lc rgb variable"});
    }
    static std::string_view hex(std::string_view colour) { return colour.substr(1); }

    void draw_mark(std::size_t i, const LabelPlace& label) {
        const ChartMark& mark = *marks_[i];
        if (mark.check) {
            triangle(places_[i], half_sizes_[i]);
        } else {
            square(places_[i], half_sizes_[i]);
        }
        const PaperBox& box = label.box;
        const Place centre{0.5 * (box.left + box.right), 0.5 * (box.top + box.bottom)};
        if (label.far) lead(places_[i], half_sizes_[i], box);
        page_.rectangle(box.left, box.top, box.right, box.bottom, paper, 0.75);
        page_.label(centre.x, centre.y, mark.label, words_style("center", label_size, darker(slate)));
    }

    // From the mark's edge to the word's.
    void lead(const Place& from, double half_size, const PaperBox& box) {
        const Place to{std::clamp(from.x, box.left, box.right), std::clamp(from.y, box.top, box.bottom)};
        const double length = std::hypot(to.x - from.x, to.y - from.y);
        if (length <= half_size) return;
        const double start = half_size / std::max(std::abs(to.x - from.x), std::abs(to.y - from.y));
        page_.line(from.x + start * (to.x - from.x), from.y + start * (to.y - from.y), to.x, to.y, 0.8,
                   slate);
    }

    // Numbers are arcminutes; the panel itself counts in units of paper.
    void axes() {
        page_.add("set border 15 lw 1 lc rgb '{}'\n", slate);
        page_.add("set grid xtics ytics lt 1 lw 0.6 lc rgb '{0}', lt 1 lw 0.6 lc rgb '{0}'\nset grid back\n",
                  faint_line);
        const double r = chart_.radius_arcmin, step = round_step(2.0 * r, 9), px = 0.5 * field.width() / r;
        const Place middle = place(chart_.transient);
        std::string across, up;
        for (double k = -std::floor(r / step + 1e-9); k * step <= r * (1.0 + 1e-9); ++k) {
            const std::string words = with_minus(fmt::format("{:.{}f}", k * step, decimals_of_step(step)));
            const char* comma = across.empty() ? "" : ", ";
            across += fmt::format("{}'{}' {:.3f}", comma, words, middle.x - k * step * px);
            up += fmt::format("{}'{}' {:.3f}", comma, words, k * step * px - middle.y);
        }
        const std::string style =
            fmt::format("nomirror out scale 0.6 textcolor rgb '{}' font 'sans-serif,13'", ink);
        page_.add("set xtics {0} ({1})\nset ytics {0} ({2})\n", style, across, up);
        page_.label(middle.x, field.bottom + 44.0, "east of the transient (′)",
                    words_style("center", usual_font, ink));
        page_.label(field.left - 46.0, middle.y, "north of the transient (′)",
                    words_style("center", usual_font, ink) + " rotate by 90");
    }

    void polygon(const std::vector<Place>& corners) {
        page_.add("set object polygon from ");
        for (std::size_t i = 0; i <= corners.size(); ++i) {
            const Place& c = corners[i % corners.size()];
            page_.add("{}screen {:.5f},{:.5f}", i == 0 ? "" : " to ", c.x / paper_width, 1.0 - c.y / height);
        }
        page_.add(" fs empty border rgb '{0}' fc rgb '{0}' lw 1.7 front\n", slate);
    }
    void square(const Place& at, double half) {
        polygon({{at.x - half, at.y - half},
                 {at.x + half, at.y - half},
                 {at.x + half, at.y + half},
                 {at.x - half, at.y + half}});
    }
    void triangle(const Place& at, double half) {
        const double h = half * triangle_of_square;
        polygon(
            {{at.x, at.y - 1.25 * h}, {at.x + 1.15 * h, at.y + 0.8 * h}, {at.x - 1.15 * h, at.y + 0.8 * h}});
    }
    void cross(const Place& at) {
        page_.line(at.x - cross_reach, at.y, at.x + cross_reach, at.y, 1.0, slate);
        page_.line(at.x, at.y - cross_reach, at.x, at.y + cross_reach, 1.0, slate);
    }
    void reticle(const Place& at, double scale) {
        const double open = scale * reticle_open, reach = scale * reticle_reach;
        for (const auto& [dx, dy] : {Place{1, 0}, Place{-1, 0}, Place{0, 1}, Place{0, -1}})
            page_.line(at.x + open * dx, at.y + open * dy, at.x + reach * dx, at.y + reach * dy, 2.6, ember);
    }

    const FinderChart& chart_;
    CurvePage page_;
    double point_radius_;
    std::vector<ChartStar> stars_;  // that are drawn, the brightest first
    std::size_t complete_ = 0;      // of them, down to depth_; fainter ones only where they are marked
    std::vector<const ChartMark*> marks_;
    std::vector<Place> places_;
    std::vector<double> half_sizes_;
    std::vector<Disc> scale_;
    double depth_ = 15.0, brightest_ = 15.0, faintest_ = 15.0, shrinking_ = 1.0;
};

}  // namespace

Result<void> draw_finder_chart(const FinderChart& chart, const std::string& path) {
    const auto kind = paper_kind_of(path);
    if (!kind) return fail(kind.error());
    if (!(chart.radius_arcmin > 0.0 && chart.radius_arcmin <= most_chart_radius_arcmin)) {
        return fail(
            {.what = fmt::format("A chart of {:.3g}′ about its middle cannot be drawn.", chart.radius_arcmin),
             .where = path,
             .mend = fmt::format("Give a radius above 0 and up to {:.0f}′.", most_chart_radius_arcmin),
             .kind = ProblemKind::request});
    }
    return run_gnuplot(Chart(chart, *kind).write(), path);
}

}  // namespace emberline::picture
