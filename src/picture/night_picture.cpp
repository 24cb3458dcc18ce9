// SPDX-License-Identifier: MIT
#include "picture/night_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "picture/axis_ticks.hpp"
#include "picture/band_look.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/night_air.hpp"
#include "picture/paper.hpp"
#include "picture/script_text.hpp"
#include "picture/terminal.hpp"

namespace emberline::picture {
namespace {

using night::JudgedExposure;

constexpr double left = 0.092, right = 0.845;
constexpr double bottom = 0.095, top = 0.86, gap = 0.022;
constexpr double legend_x = 0.875, legend_step = 0.04;

class NightScript : private ScriptText {
  public:
    NightScript(const std::vector<JudgedExposure>& exposures, const std::string& night)
        : exposures_(exposures), night_(night) {
        double low = HUGE_VAL, high = -HUGE_VAL;
        std::set<std::string> names;
        for (const JudgedExposure& e : exposures) {
            low = std::min(low, e.jd_utc);
            high = std::max(high, e.jd_utc);
            names.insert(e.band.name());
        }
        bands_.assign(names.begin(), names.end());
        looks_ = looks_of(bands_);
        const double margin = std::max(0.03 * (high - low), 1.0 / 1440.0);
        from_jd_ = low - margin;
        to_jd_ = high + margin;
        origin_jd_ = std::floor(low - 0.5) + 0.5;  // midnight
        point_size_ = exposures.size() <= 80 ? 1.0 : exposures.size() <= 400 ? 0.7 : 0.4;
    }

    std::string write(PaperKind kind) {
        if (kind == PaperKind::svg) point_size_ *= 0.62;
        add("{}set encoding utf8\nset multiplot\nunset key\n", terminal(kind, "night"));
        data();
        heading();
        legend();
        const double height = (top - bottom - 2.0 * gap) / 3.0;
        for (std::size_t p = 0; p < air_quantities().size(); ++p) {
            const double panel_top = top - static_cast<double>(p) * (height + gap);
            panel(p, panel_top - height, panel_top);
        }
        add("unset multiplot\n");
        return take();
    }

  private:
    void label(double x, double y, std::string_view content, double size, const char* colour) {
        add("set label {} at screen {:.5f},{:.5f} left font 'sans-serif,{:g}' tc rgb '{}' front\n",
            gnuplot_text(content), x, y, size, colour);
    }
    [[nodiscard]] double hours(double jd) const { return 24.0 * (jd - origin_jd_); }

    // $e0 … one block a band: hours, a column a panel, used or not.
    void data() {
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            add("$e{} << EOD\n", b);
            for (const JudgedExposure& e : exposures_) {
                if (e.band.name() != bands_[b]) continue;
                add("{:.5f}", hours(e.jd_utc));
                for (const AirQuantity& one : air_quantities()) {
                    const auto value = one.value(e);
                    if (value && std::isfinite(*value)) {
                        add(" {:.4f}", *value);
                    } else {
                        add(" NaN");
                    }
                }
                add(" {}\n", e.used ? 1 : 0);
            }
            add("EOD\n");
        }
    }

    void heading() {
        const auto used = std::count_if(exposures_.begin(), exposures_.end(),
                                        [](const JudgedExposure& e) { return e.used; });
        label(left, 0.955, fmt::format("The night of {}", night_), 19.0, ink);
        label(left, 0.915,
              fmt::format("{} exposures, {} in use", exposures_.size(), static_cast<std::size_t>(used)), 13.0,
              slate);
    }

    void legend() {
        double y = top - 0.012;
        const auto entry = [&](int shape, const std::string& colour, const std::string& words) {
            add("set label '' at screen {:.5f},{:.5f} point pt {} ps {:.3f} lw 1.4 lc rgb '{}' front\n",
                legend_x, y, shape, 1.15 * point_size_, colour);
            label(legend_x + 0.02, y, words, 13.0, ink);
            y -= legend_step;
        };
        for (std::size_t b = 0; b < bands_.size(); ++b)
            entry(static_cast<int>(looks_[b].shape), looks_[b].colour, bands_[b]);
        const bool any_refused = std::any_of(exposures_.begin(), exposures_.end(),
                                             [](const JudgedExposure& e) { return !e.used; });
        if (any_refused)
            entry(static_cast<int>(looks_.front().shape) - 1, bands_.size() == 1 ? looks_[0].colour : slate,
                  "not used");
        if (flip_jd()) {
            add("set arrow from screen {0:.5f},{1:.5f} to screen {0:.5f},{2:.5f} nohead lw 1.4 dt 2 lc rgb "
                "'{3}' "
                "front\n",
                legend_x, y - 0.014, y + 0.014, slate);
            label(legend_x + 0.02, y, "flip", 13.0, ink);
            y -= legend_step;
        }
    }

    // Between the last exposure before the field turned round and the first after.
    [[nodiscard]] std::optional<double> flip_jd() const {
        std::map<std::string, const JudgedExposure*> before;  // of each instrument
        for (const JudgedExposure& e : exposures_) {
            const JudgedExposure*& last = before[e.instrument];
            if (last != nullptr && last->flipped != e.flipped) return 0.5 * (last->jd_utc + e.jd_utc);
            last = &e;
        }
        return std::nullopt;
    }

    void panel(std::size_t p, double low, double high) {
        const AirQuantity& one = air_quantities()[p];
        double least = HUGE_VAL, most = -HUGE_VAL;
        for (const JudgedExposure& e : exposures_) {
            const auto value = one.value(e);
            if (!value || !std::isfinite(*value)) continue;
            least = std::min(least, *value);
            most = std::max(most, *value);
        }
        const bool nothing = !(most >= least);
        if (nothing) {
            least = 0.0;
            most = 1.0;
        }
        const double room = std::max(0.08 * (most - least), 0.02 * std::abs(most) + 1e-3);
        const double bottom_value = one.from_zero ? 0.0 : least - room;
        const double top_value = most + room;
        add("set lmargin at screen {:.5f}\nset rmargin at screen {:.5f}\nset bmargin at screen {:.5f}\nset "
            "tmargin at "
            "screen {:.5f}\n",
            left, right, low, high);
        add("set border 3 lw 1 lc rgb '{}'\nset tics nomirror out scale 0.6 textcolor rgb '{}' font "
            "'sans-serif,12'\nset grid xtics ytics lt 1 lw 0.8 lc rgb '{}', lt 1 lw 0.8 lc rgb '{}'\nset "
            "grid back\n",
            slate, ink, faint_line, faint_line);
        time_axes(p, high);
        const bool turned = one.bright_up;
        add("set yrange [{:.5f}:{:.5f}]\n", turned ? top_value : bottom_value,
            turned ? bottom_value : top_value);
        const double step = round_step(top_value - bottom_value, 4);
        add("set ytics {:.9g} format '%.{}f'\n", step, decimals_of_step(step));
        add("set ylabel {} tc rgb '{}' font 'sans-serif,13' offset 0.6,0\n", gnuplot_text(one.name), ink);
        if (const auto flip = flip_jd()) {
            add("set arrow from first {0:.5f},graph 0 to first {0:.5f},graph 1 nohead lw 1.4 dt 2 lc rgb "
                "'{1}' back\n",
                hours(*flip), slate);
        }
        if (nothing) {
            add("set label 'not known: no zero point' at graph 0.5,0.5 center font 'sans-serif,13' tc rgb "
                "'{}'\n",
                slate);
        }
        marks(p);
        add("unset arrow\nunset label\nunset x2tics\n");
    }

    void time_axes(std::size_t p, double panel_top) {
        const bool lowest = p + 1 == air_quantities().size();
        add("set xrange [{:.5f}:{:.5f}]\n", hours(from_jd_), hours(to_jd_));
        const double step = round_step(to_jd_ - from_jd_, 6);
        std::string days;
        for (double t = std::ceil((from_jd_ - origin_jd_) / step) * step; t <= to_jd_ - origin_jd_;
             t += step) {
            const std::string words =
                lowest ? fmt::format("{:.{}f}", t, decimals_of_step(step)) : std::string();
            days += fmt::format("{}'{}' {:.5f}", days.empty() ? "" : ", ", words, 24.0 * t);
        }
        add("set xtics ({})\n", days);
        if (lowest) {
            add("set xlabel 'JD (UTC) − {:.1f} (d)' offset 0,0.2 tc rgb '{}' font 'sans-serif,13'\n",
                origin_jd_, ink);
        } else {
            add("set xlabel\n");
        }
        if (p != 0) return;
        std::string ticks;
        for (const DateTick& t : date_ticks(from_jd_, to_jd_, 8))
            ticks +=
                fmt::format("{}{} {:.5f}", ticks.empty() ? "" : ", ", gnuplot_text(t.label), hours(t.jd_utc));
        if (ticks.empty()) return;
        add("set border 7\nset x2range [{:.5f}:{:.5f}]\nset x2tics ({}) nomirror out scale 0.6 offset 0,-0.2 "
            "textcolor "
            "rgb '{}' font 'sans-serif,12'\n",
            hours(from_jd_), hours(to_jd_), ticks, slate);
        label(legend_x, panel_top + 0.027, "time (UTC)", 11.0, slate);
    }

    void marks(std::size_t p) {
        add("plot ");
        const std::size_t column = p + 2, used = air_quantities().size() + 2;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            const int shape = static_cast<int>(looks_[b].shape);
            add("{}$e{} using 1:(${} > 0.5 ? ${} : NaN) with points pt {} ps {:.3f} lc rgb '{}' notitle, "
                "\\\n     ",
                b == 0 ? "" : ", \\\n     ", b, used, column, shape, point_size_, looks_[b].colour);
            add("$e{} using 1:(${} > 0.5 ? NaN : ${}) with points pt {} ps {:.3f} lw 1.4 lc rgb '{}' notitle",
                b, used, column, shape - 1, 1.1 * point_size_, looks_[b].colour);
        }
        add("\n");
    }

    const std::vector<JudgedExposure>& exposures_;
    const std::string& night_;
    std::vector<std::string> bands_;
    std::vector<BandLook> looks_;
    double from_jd_ = 0.0, to_jd_ = 1.0, origin_jd_ = 0.0, point_size_ = 1.0;
};

}  // namespace

Result<void> draw_night(const std::vector<JudgedExposure>& exposures, const std::string& night,
                        const std::string& path) {
    const auto kind = paper_kind_of(path);
    if (!kind) return fail(kind.error());
    if (exposures.empty()) {
        return fail({.what = fmt::format("There is nothing to draw of the night of {}.", night),
                     .where = path,
                     .mend = "Measure frames of that night first."});
    }
    return run_gnuplot(NightScript(exposures, night).write(*kind), path);
}

}  // namespace emberline::picture
