// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "picture/finder_image.hpp"
#include "picture/label_places.hpp"

namespace emberline::picture {
namespace {

constexpr double width = 900.0, side = 560.0, gap = 30.0;
constexpr double close_side = width - side - gap;
constexpr double letters = 13.0;

// A square of paper that shows so much sky about the transient.
struct Window {
    DrawPoint corner;
    double side = 0.0, half_arcsec = 1.0;
    [[nodiscard]] double units(double arcsec) const { return 0.5 * side * arcsec / half_arcsec; }
    [[nodiscard]] DrawPoint at(const FieldPlace& p) const {
        return {corner.x + 0.5 * side - units(p.east_arcsec), corner.y + 0.5 * side - units(p.north_arcsec)};
    }
    [[nodiscard]] bool shows(const FieldPlace& p, double margin) const {
        const DrawPoint d = at(p);
        return d.x > corner.x + margin && d.x < corner.x + side - margin && d.y > corner.y + margin &&
               d.y < corner.y + side - margin;
    }
};

// A round length of about a fifth of the window, and what it is called.
std::pair<double, std::string> scale_bar(const Window& window) {
    constexpr std::array<double, 16> lengths_arcsec = {1,   2,   5,    10,   20,   30,   60,    120,
                                                       300, 600, 1200, 1800, 3600, 7200, 18000, 36000};
    double best = lengths_arcsec.front();
    for (const double length : lengths_arcsec) {
        if (length <= 0.5 * window.half_arcsec) best = length;
    }
    if (best < 60.0) return {best, fmt::format("{:.0f}″", best)};
    if (best < 3600.0) return {best, fmt::format("{:.0f}′", best / 60.0)};
    return {best, fmt::format("{:.0f}°", best / 3600.0)};
}

class FinderDrawing {
  public:
    explicit FinderDrawing(const FinderImage& finder)
        : finder_(finder),
          field_{{0.0, 0.0}, side, finder.half_field_arcsec},
          close_{{side + gap, 0.0}, close_side, finder.half_close_arcsec} {}

    Drawing draw() {
        if (finder_.pictures) picture(field_, finder_.pictures->field);
        if (!finder_.pictures) dots();
        stars();
        cross(field_, 7.0, false);
        reticle(field_, 8.0, 22.0, 2.6);
        taken_.push_back(box_about(field_.at({}), 24.0));
        taken_.push_back({0.0, 150.0, side - 46.0, side});         // the scale
        taken_.push_back({side - 80.0, side, side - 80.0, side});  // the compass
        close_outline();
        frame_of(field_);
        compass();
        labels();
        if (finder_.pictures || finder_.aperture) close_up();
        legend();
        return std::move(drawing_);
    }

  private:
    static PaperBox box_about(DrawPoint p, double reach) {
        return {p.x - reach, p.x + reach, p.y - reach, p.y + reach};
    }

    void picture(const Window& window, const GreyPicture& grey) {
        drawing_.add(DrawPicture{window.corner, window.side, window.side, grey});
    }

    void frame_of(const Window& window) {
        drawing_.outline(window.corner, window.side, window.side, Tone::slate, 1.0);
        const auto [length, name] = scale_bar(window);
        const double x = window.corner.x + 16.0, y = window.corner.y + window.side - 16.0;
        const double end = x + window.units(length);
        drawing_.line({{x, y - 5.0}, {x, y}, {end, y}, {end, y - 5.0}}, Tone::ink, 1.6);
        words({0.5 * (x + end), y - 8.0}, name, Align::middle, Tone::ink);
    }

    // The stars of the sequence, where no picture shows them: a magnitude is a step of the dot.
    void dots() {
        for (const FieldStar& star : finder_.stars) {
            if (!field_.shows(star.place, 0.0)) continue;
            const double radius =
                std::clamp(1.5 + 0.7 * (17.0 - star.magnitude_mag.value_or(15.0)), 1.5, 6.5);
            drawing_.circle(field_.at(star.place), radius, Tone::ink, 0.0);
        }
        drawing_.circle(field_.at({}), 2.5, Tone::ember, 0.0);
    }

    void stars() {
        for (const FieldStar& star : finder_.stars) {
            if (!field_.shows(star.place, 6.0)) continue;
            mark(field_.at(star.place), star.mark, 10.0);
        }
    }

    void mark(DrawPoint p, StarMark kind, double reach) {
        if (kind == StarMark::check) {
            const double r = 1.45 * reach;
            drawing_.line({{p.x, p.y - r},
                           {p.x + 0.87 * r, p.y + 0.55 * r},
                           {p.x - 0.87 * r, p.y + 0.55 * r},
                           {p.x, p.y - r}},
                          Tone::slate, 1.8);
        } else if (kind == StarMark::comparison) {
            drawing_.outline({p.x - reach, p.y - reach}, 2.0 * reach, 2.0 * reach, Tone::slate, 1.8);
        } else {
            drawing_.circle(p, reach, Tone::slate, 1.2, Dashes::dotted);
        }
    }

    void labels() {
        constexpr double beside = 13.0;  // from the mark's middle
        std::vector<WantedLabel> wanted;
        std::vector<const FieldStar*> named;
        for (const FieldStar& star : finder_.stars) {
            if (!field_.shows(star.place, 6.0)) continue;
            const DrawPoint p = field_.at(star.place);
            wanted.push_back({p.x, p.y, beside, width_of(star.label, letters), letters});
            named.push_back(&star);
        }
        const auto places = place_labels(wanted, {}, taken_, {3.0, side - 3.0, 3.0, side - 3.0});
        for (std::size_t i = 0; i < places.size(); ++i) {
            const PaperBox& box = places[i].box;
            if (places[i].far) {
                const double x = std::clamp(wanted[i].x, box.left, box.right),
                             y = std::clamp(wanted[i].y, box.top, box.bottom);
                const double share = beside / std::max(std::hypot(x - wanted[i].x, y - wanted[i].y), beside);
                drawing_.line(
                    {{wanted[i].x + share * (x - wanted[i].x), wanted[i].y + share * (y - wanted[i].y)},
                     {x, y}},
                    Tone::slate, 0.8);
            }
            words({0.5 * (box.left + box.right), 0.5 * (box.top + box.bottom) + 0.36 * letters},
                  named[i]->label, Align::middle, Tone::ink);
        }
    }

    void words(DrawPoint at, const std::string& text, Align align, Tone tone, bool bold = false) {
        drawing_.add(DrawWords{.at = at,
                               .words = text,
                               .size = letters,
                               .align = align,
                               .tone = tone,
                               .bold = bold,
                               .on_paper = true});
    }

    void reticle(const Window& window, double open, double reach, double line_width) {
        const DrawPoint p = window.at({});
        for (const auto& [dx, dy] : {std::pair{1.0, 0.0}, {-1.0, 0.0}, {0.0, 1.0}, {0.0, -1.0}})
            drawing_.line({{p.x + open * dx, p.y + open * dy}, {p.x + reach * dx, p.y + reach * dy}},
                          Tone::ember, line_width);
    }

    void cross(const Window& window, double arm, bool named) {
        if (!finder_.nucleus || !window.shows(*finder_.nucleus, arm)) return;
        const DrawPoint p = window.at(*finder_.nucleus);
        drawing_.line({{p.x - arm, p.y}, {p.x + arm, p.y}}, Tone::slate, 1.3);
        drawing_.line({{p.x, p.y - arm}, {p.x, p.y + arm}}, Tone::slate, 1.3);
        if (!named) return;
        // Away from the transient, and inside the window.
        const double name = width_of("nucleus", letters), middle = window.corner.x + 0.5 * window.side;
        const bool right = p.x + arm + 4.0 + name < window.corner.x + window.side &&
                           (p.x > middle || p.x - arm - 4.0 - name < window.corner.x);
        words({p.x + (right ? arm + 4.0 : -arm - 4.0), p.y + 4.5}, "nucleus",
              right ? Align::start : Align::end, Tone::slate);
    }

    // What the close-up shows, on the field.
    void close_outline() {
        const double reach = field_.units(finder_.half_close_arcsec);
        if (!finder_.pictures || reach < 26.0 || reach > 0.45 * side) return;
        const DrawPoint p = field_.at({});
        drawing_.line({{p.x - reach, p.y - reach},
                       {p.x + reach, p.y - reach},
                       {p.x + reach, p.y + reach},
                       {p.x - reach, p.y + reach},
                       {p.x - reach, p.y - reach}},
                      Tone::slate, 1.3, Dashes::dotted);
    }

    void compass() {
        const DrawPoint foot{side - 22.0, side - 22.0};
        constexpr double arm = 34.0;
        const auto arrow = [&](double dx, double dy, const char* name) {
            const DrawPoint tip{foot.x + arm * dx, foot.y + arm * dy};
            drawing_.line({foot, tip}, Tone::ink, 1.6);
            drawing_.add(DrawArea{{{tip.x + 7.0 * dx, tip.y + 7.0 * dy},
                                   {tip.x + 4.0 * dy, tip.y - 4.0 * dx},
                                   {tip.x - 4.0 * dy, tip.y + 4.0 * dx}},
                                  Tone::ink,
                                  1.0});
            words({tip.x + 18.0 * dx, tip.y + 18.0 * dy + (dx != 0.0 ? 4.7 : 7.0)}, name, Align::middle,
                  Tone::ink, true);
        };
        arrow(0.0, -1.0, "N");
        arrow(-1.0, 0.0, "E");
    }

    void close_up() {
        if (finder_.pictures) picture(close_, finder_.pictures->close);
        const DrawPoint p = close_.at({});
        double open = 10.0, reach = 26.0;
        if (finder_.aperture) {
            const FieldAperture& a = *finder_.aperture;
            for (const double ring : {a.inner_arcsec, a.outer_arcsec})
                drawing_.circle(p, close_.units(ring), Tone::slate, 1.3, Dashes::dashed);
            drawing_.circle(p, close_.units(a.radius_arcsec), Tone::ember, 2.0);
            open = close_.units(a.radius_arcsec) + 5.0;
            reach = std::clamp(close_.units(a.inner_arcsec) - 5.0, open + 8.0, open + 22.0);
        }
        cross(close_, 9.0, true);
        reticle(close_, open, reach, 2.6);
        frame_of(close_);
    }

    // Below the close-up: what the marks mean.
    void legend() {
        const double x = close_.corner.x + 14.0;
        double y = (finder_.pictures || finder_.aperture ? close_.corner.y + close_side + 34.0 : 24.0);
        const auto entry = [&](const std::string& text) {
            for (const std::string& line : lines_of(text, letters, close_side - 36.0)) {
                drawing_.words({x + 22.0, y + 4.7}, line, letters, Align::start, Tone::ink);
                y += 18.0;
            }
            y += 8.0;
        };
        for (const auto& [dx, dy] : {std::pair{1.0, 0.0}, {-1.0, 0.0}, {0.0, 1.0}, {0.0, -1.0}})
            drawing_.line({{x + 3.5 * dx, y + 3.5 * dy}, {x + 10.0 * dx, y + 10.0 * dy}}, Tone::ember, 2.2);
        entry("the transient");
        if (finder_.aperture) {
            const FieldAperture& a = *finder_.aperture;
            drawing_.circle({x, y}, 7.0, Tone::ember, 2.0);
            entry(a.psf ? fmt::format("a circle with as much sky as the PSF fit, radius {:.1f}″",
                                      a.radius_arcsec)
                        : fmt::format("aperture, radius {:.1f}″", a.radius_arcsec));
            drawing_.circle({x, y}, 8.0, Tone::slate, 1.3, Dashes::dashed);
            entry(fmt::format("sky annulus, {:.1f}″ to {:.1f}″", a.inner_arcsec, a.outer_arcsec));
        }
        constexpr std::pair<StarMark, const char*> kinds[] = {
            {StarMark::comparison, "comparison star"},
            {StarMark::check, "check star"},
            {StarMark::unused, "star of the sequence, not used"}};
        for (const auto& [kind, name] : kinds) {
            const bool any = std::any_of(finder_.stars.begin(), finder_.stars.end(),
                                         [k = kind](const FieldStar& s) { return s.mark == k; });
            if (!any) continue;
            mark({x, y}, kind, 6.5);
            entry(name);
        }
        if (!finder_.nucleus) return;
        drawing_.line({{x - 8.0, y}, {x + 8.0, y}}, Tone::slate, 1.3);
        drawing_.line({{x, y - 8.0}, {x, y + 8.0}}, Tone::slate, 1.3);
        entry("nucleus of the host");
    }

    const FinderImage& finder_;
    Window field_, close_;
    std::vector<PaperBox> taken_;
    Drawing drawing_{width, side + 4.0};
};

}  // namespace

Drawing draw_finder(const FinderImage& finder) {
    return FinderDrawing(finder).draw();
}

}  // namespace emberline::picture
