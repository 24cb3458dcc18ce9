// SPDX-License-Identifier: MIT
#include "picture/forecast_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "picture/axis_ticks.hpp"
#include "picture/band_look.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/paper.hpp"
#include "picture/script_text.hpp"
#include "picture/terminal.hpp"

namespace emberline::picture {
namespace {

constexpr double left = 0.092, right = 0.835;
constexpr double bottom = 0.105, nights_top = 0.345, gap = 0.03, top = 0.842;
constexpr double legend_x = 0.888, legend_step = 0.042;  // clear of the scale at the right
constexpr double least_past_d = 20.0;
constexpr double half_night_d = 0.36;  // of a night's bar

// What has been included so far; empty at first.
struct Extent {
    double low = HUGE_VAL, high = -HUGE_VAL;
    void include(double v) {
        if (!std::isfinite(v)) return;
        low = std::min(low, v);
        high = std::max(high, v);
    }
    [[nodiscard]] double span() const { return high - low; }
    [[nodiscard]] bool empty() const { return !(high >= low); }
};

class ForecastScript : private ScriptText {
  public:
    explicit ForecastScript(const ForecastPicture& picture) : picture_(picture) {
        std::vector<std::string> names;
        for (const BandAhead& band : picture.bands)
            names.push_back(band.curve.band.name());
        looks_ = looks_of(names);
        find_ranges();
    }
    [[nodiscard]] bool nothing() const { return mag_.empty() || jd_.empty(); }

    std::string write(PaperKind kind) {
        if (kind == PaperKind::svg) point_scale_ = 0.62;
        add("{}set encoding utf8\nset multiplot\nunset key\n", terminal(kind, "forecast"));
        data();
        add("set label {} at screen {:.5f},0.951 left font 'sans-serif,20' tc rgb '{}' front\n",
            gnuplot_text(picture_.title), left, ink);
        add("set label {} at screen {:.5f},0.907 left font 'sans-serif,13' tc rgb '{}' front\n",
            gnuplot_text(picture_.subtitle), left, slate);
        legend();
        magnitudes();
        if (!picture_.nights.empty()) nights();
        add("unset multiplot\n");
        return take();
    }

  private:
    void find_ranges() {
        Extent ahead;
        for (const BandAhead& band : picture_.bands) {
            for (const lightcurve::ForecastPoint& f : band.line)
                ahead.include(f.bjd_tdb);
        }
        for (const NightAhead& n : picture_.nights) {
            ahead.include(n.midnight_jd_utc - 0.5);
            ahead.include(n.midnight_jd_utc + 0.5);
        }
        for (const BandAhead& band : picture_.bands) {
            for (const lightcurve::Point& p : band.curve.points) {
                if (ahead.empty() || p.bjd_tdb >= ahead.low - std::max(2.0 * ahead.span(), least_past_d))
                    jd_.include(p.bjd_tdb);
            }
        }
        if (!ahead.empty()) {
            jd_.include(ahead.low);
            jd_.include(ahead.high);
        }
        for (const BandAhead& band : picture_.bands) {
            for (const lightcurve::Point& p : band.curve.points) {
                const auto shown = p.magnitude_mag ? p.magnitude_mag : p.limit_mag;
                if (shown && p.bjd_tdb >= jd_.low) mag_.include(*shown);
            }
            for (const lightcurve::ForecastPoint& f : band.line) {
                mag_.include(f.low_mag);
                mag_.include(f.high_mag);
            }
        }
        if (nothing()) return;
        // A threshold near by widens the panel, a far one stays outside.
        const Extent curve = mag_;
        const auto threshold = [&](double mag) {
            if (mag > curve.low - 0.5 * curve.span() && mag < curve.high + std::max(0.5 * curve.span(), 0.5))
                mag_.include(mag);
        };
        for (const double mag : picture_.passes_mag)
            threshold(mag);
        for (const BandAhead& band : picture_.bands) {
            if (band.depth_mag) threshold(*band.depth_mag);
        }
        const double room = std::max(0.07 * mag_.span(), 0.05), side = std::max(0.02 * jd_.span(), 0.5);
        mag_ = {mag_.low - room, mag_.high + room};
        jd_ = {jd_.low - side, jd_.high + side};
        offset_ = std::floor(jd_.low / 100.0) * 100.0;
    }

    [[nodiscard]] double day(double jd) const { return jd - offset_; }

    // $m points, $l limits, $f the forecast of each band; $n the nights.
    void data() {
        for (std::size_t b = 0; b < picture_.bands.size(); ++b) {
            const BandAhead& band = picture_.bands[b];
            add("$m{} << EOD\n", b);
            for (const lightcurve::Point& p : band.curve.points) {
                if (p.magnitude_mag && p.bjd_tdb >= jd_.low)
                    add("{:.5f} {:.5f} {:.5f}\n", day(p.bjd_tdb), *p.magnitude_mag,
                        p.random_err_mag.value_or(0.0));
            }
            add("EOD\n$l{} << EOD\n", b);
            for (const lightcurve::Point& p : band.curve.points) {
                if (!p.magnitude_mag && p.limit_mag && p.bjd_tdb >= jd_.low)
                    add("{:.5f} {:.5f}\n", day(p.bjd_tdb), *p.limit_mag);
            }
            add("EOD\n$f{} << EOD\n", b);
            for (const lightcurve::ForecastPoint& f : band.line)
                add("{:.5f} {:.5f} {:.5f} {:.5f} {:.5f} {:.5f}\n", day(f.bjd_tdb), f.mag, f.low_mag,
                    f.high_mag, f.low95_mag, f.high95_mag);
            add("EOD\n");
        }
        add("$n << EOD\n");
        for (const NightAhead& n : picture_.nights)
            add("{:.5f} {:.4f} {:.4f} {:.4f}\n", day(n.midnight_jd_utc), n.dark_h, n.observable_h,
                n.moon_illuminated);
        add("EOD\n");
    }

    void words(double y, std::string_view text, double size = 13.0, const char* colour = ink) {
        add("set label {} at screen {:.5f},{:.5f} left font 'sans-serif,{:g}' tc rgb '{}' front\n",
            gnuplot_text(text), legend_x + 0.02, y, size, colour);
    }
    void patch(double y, const std::string& fill, const char* colour) {
        add("set object rectangle from screen {:.5f},{:.5f} to screen {:.5f},{:.5f} fs {} noborder fc rgb "
            "'{}' front\n",
            legend_x - 0.012, y - 0.01, legend_x + 0.012, y + 0.01, fill, colour);
    }

    void legend() {
        double y = top - 0.012;
        for (std::size_t b = 0; b < looks_.size(); ++b) {
            add("set label '' at screen {:.5f},{:.5f} point pt {} ps {:.3f} lc rgb '{}' front\n", legend_x, y,
                static_cast<int>(looks_[b].shape), 1.15 * point_scale_, looks_[b].colour);
            words(y, picture_.bands[b].curve.band.name());
            y -= legend_step;
        }
        patch(y, "transparent solid 0.32", slate);
        words(y, "68 %");
        y -= legend_step;
        patch(y, "transparent solid 0.12", slate);
        words(y, "95 %");
        y = nights_top - 0.05;  // below the scale's 100
        if (picture_.nights.empty()) return;
        patch(y, "solid 1", "#c9ced3");
        words(y, "dark");
        y -= legend_step;
        patch(y, "solid 1", slate);
        words(y, "and high");
        y -= legend_step;
        add("set label '' at screen {:.5f},{:.5f} point pt 6 ps {:.3f} lw 1.4 lc rgb '{}' front\n", legend_x,
            y, 1.0 * point_scale_, ink);
        words(y, "Moon (%)");
    }

    void margins(double low, double high) {
        add("set lmargin at screen {:.5f}\nset rmargin at screen {:.5f}\nset bmargin at screen {:.5f}\nset "
            "tmargin at screen {:.5f}\n",
            left, right, low, high);
    }

    void axes(bool lowest) {
        add("set border 3 lw 1 lc rgb '{0}'\nset tics nomirror out scale 0.6 textcolor rgb '{1}' font "
            "'sans-serif,12'\nset grid xtics ytics lt 1 lw 0.8 lc rgb '{2}', lt 1 lw 0.8 lc rgb '{2}'\nset "
            "grid "
            "back\nset xrange [{3:.5f}:{4:.5f}]\n",
            slate, ink, faint_line, day(jd_.low), day(jd_.high));
        const double step = round_step(jd_.span(), 8);
        add("set xtics {:.9g} format '{}'\n", step,
            lowest ? fmt::format("%.{}f", decimals_of_step(step)) : "");
        if (lowest) {
            add("set xlabel 'JD − {:.0f} (d)' offset 0,0.2 tc rgb '{}' font 'sans-serif,13'\n", offset_, ink);
        } else {
            add("unset xlabel\n");
        }
    }

    void dates() {
        std::string ticks;
        for (const DateTick& t : date_ticks(jd_.low, jd_.high, 8))
            ticks +=
                fmt::format("{}{} {:.5f}", ticks.empty() ? "" : ", ", gnuplot_text(t.label), day(t.jd_utc));
        if (ticks.empty()) return;
        add("set border 7\nset x2range [{:.5f}:{:.5f}]\nset x2tics ({}) nomirror out scale 0.6 offset 0,-0.2 "
            "textcolor rgb '{}' font 'sans-serif,12'\n",
            day(jd_.low), day(jd_.high), ticks, slate);
        add("set label 'date (UTC)' at screen {:.5f},{:.5f} left font 'sans-serif,11' tc rgb '{}' front\n",
            legend_x, top + 0.027, slate);
    }

    void line_across(double mag, const std::string& text, const char* dashes, const std::string& colour) {
        if (mag < mag_.low || mag > mag_.high) return;
        add("set arrow from graph 0,first {0:.5f} to graph 1,first {0:.5f} nohead lw 1.2 dt {1} lc rgb '{2}' "
            "back\n",
            mag, dashes, colour);
        add("set label {} at graph 0.005,first {:.5f} left offset 0,0.5 font 'sans-serif,11' tc rgb '{}' "
            "front\n",
            gnuplot_text(text), mag, colour);
    }

    void magnitudes() {
        margins(picture_.nights.empty() ? bottom : nights_top + gap, top);
        axes(picture_.nights.empty());
        dates();
        add("set yrange [{:.5f}:{:.5f}]\n", mag_.high, mag_.low);
        const double step = round_step(mag_.span(), 7);
        add("set ytics {:.9g} format '%.{}f'\n", step, std::max(1, decimals_of_step(step)));
        add("set ylabel {} tc rgb '{}' font 'sans-serif,13' offset 0.6,0\n",
            gnuplot_text(picture_.bands.size() == 1 ? picture_.bands[0].curve.band.name() + " (mag)"
                                                    : "magnitude (mag)"),
            ink);
        for (const double mag : picture_.passes_mag)
            line_across(mag, fmt::format("{:.2f}", mag), "2", ember);
        std::vector<std::string> plots;
        for (std::size_t b = 0; b < picture_.bands.size(); ++b) {
            const BandAhead& band = picture_.bands[b];
            const std::string& colour = looks_[b].colour;
            if (band.depth_mag)
                line_across(*band.depth_mag,
                            fmt::format("depth of a usual night, {}", band.curve.band.name()), "3", colour);
            if (!band.line.empty()) {
                plots.push_back(fmt::format(
                    "$f{} using 1:5:6 with filledcurves fs transparent solid 0.12 noborder fc rgb '{}'", b,
                    colour));
                plots.push_back(fmt::format(
                    "$f{} using 1:3:4 with filledcurves fs transparent solid 0.22 noborder fc rgb '{}'", b,
                    colour));
                plots.push_back(fmt::format("$f{} using 1:2 with lines lw 1.8 lc rgb '{}'", b, colour));
            }
            const auto& points = band.curve.points;
            if (std::any_of(points.begin(), points.end(),
                            [&](const auto& p) { return p.magnitude_mag && p.bjd_tdb >= jd_.low; }))
                plots.push_back(
                    fmt::format("$m{} using 1:2:3 with yerrorbars pt {} ps {:.3f} lw 1.2 lc rgb '{}'", b,
                                static_cast<int>(looks_[b].shape), 0.9 * point_scale_, colour));
            if (std::any_of(points.begin(), points.end(), [&](const auto& p) {
                    return !p.magnitude_mag && p.limit_mag && p.bjd_tdb >= jd_.low;
                }))
                plots.push_back(
                    fmt::format("$l{} using 1:2:(0):({:.4f}) with vectors head empty size screen 0.008,24,90 "
                                "lw 1.2 lc rgb '{}'",
                                b, 0.05 * mag_.span(), colour));
        }
        add("plot ");
        for (std::size_t i = 0; i < plots.size(); ++i)
            add("{}{} notitle", i == 0 ? "" : ", \\\n     ", plots[i]);
        add("\nunset arrow\nunset label\nunset object\nunset x2tics\n");
    }

    void nights() {
        margins(bottom, nights_top);
        axes(true);
        double most_h = 1.0;
        for (const NightAhead& n : picture_.nights)
            most_h = std::max(most_h, n.dark_h);
        add("set border 11\nset yrange [0:{0:.3f}]\nset ytics {1:.9g} format '%g'\nset ylabel 'hours' tc rgb "
            "'{2}' font "
            "'sans-serif,13' offset 0.6,0\nset y2range [0:105]\nset y2tics 50 nomirror out scale 0.6 "
            "textcolor rgb '{2}' "
            "font 'sans-serif,12'\n",
            1.08 * most_h, round_step(most_h, 4), ink);
        add("plot $n using 1:(0):($1-{0}):($1+{0}):(0):2 with boxxyerror fs solid 1 noborder fc rgb "
            "'#c9ced3' notitle, \\\n"
            "     $n using 1:(0):($1-{0}):($1+{0}):(0):3 with boxxyerror fs solid 1 noborder fc rgb '{1}' "
            "notitle, \\\n"
            "     $n using 1:(100*$4) axes x1y2 with linespoints pt 6 ps {2:.3f} lw 1.2 lc rgb '{3}' "
            "notitle\n",
            half_night_d, slate, 0.8 * point_scale_, ink);
    }

    const ForecastPicture& picture_;
    std::vector<BandLook> looks_;
    Extent jd_, mag_;
    double offset_ = 0.0, point_scale_ = 1.0;
};

}  // namespace

Result<void> draw_forecast(const ForecastPicture& picture, const std::string& path) {
    const auto kind = paper_kind_of(path);
    if (!kind) return fail(kind.error());
    ForecastScript script(picture);
    if (script.nothing()) {
        return fail({.what = "There is nothing to draw of coming nights.",
                     .where = path,
                     .mend = "Measure some nights first."});
    }
    return run_gnuplot(script.write(*kind), path);
}

}  // namespace emberline::picture
