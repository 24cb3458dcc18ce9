// SPDX-License-Identifier: MIT
#include "picture/host_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"
#include "picture/axis_ticks.hpp"
#include "picture/gnuplot_process.hpp"
#include "picture/paper.hpp"
#include "picture/script_text.hpp"

namespace emberline::picture {
namespace {

constexpr int panel_px = 420, gap_px = 26;
constexpr int left_px = 78, top_px = 96, bottom_px = 78, right_px = 30;
constexpr int row_gap_px = 46;
constexpr double residual_sigma = 6.0;  // the ends of the residual's palette, in noise of a pixel
constexpr double faint_sigma = 3.0;     // where the stretch of the data turns from straight to logarithmic

double stretched(double adu, double sky, double noise, double top) {
    const double soft = faint_sigma * noise;
    return std::clamp(std::asinh((adu - sky) / soft) / std::asinh((top - sky) / soft), -0.15, 1.0);
}

class Script : private ScriptText {
  public:
    explicit Script(const HostPicture& picture) : picture_(picture), box_(picture.rows.front().data.box) {
        width_ = left_px + 3 * panel_px + 2 * gap_px + right_px;
        height_ =
            top_px + static_cast<int>(picture.rows.size()) * (panel_px + row_gap_px) - row_gap_px + bottom_px;
    }

    std::string write() {
        add("set terminal pngcairo noenhanced color size {},{} font 'sans-serif,15' background rgb '{}'\n",
            width_, height_, paper);
        add("set multiplot\nunset key\nunset colorbox\nset border lc rgb '{}' lw 1\n", slate);
        add("set label 1 {} at screen {:.5f},{:.5f} left tc rgb '{}' font 'sans-serif,21'\n",
            gnuplot_text(picture_.title), x(left_px), y(34), ink);
        const double arcsec = half_arcsec();
        add("set xrange [{0:.4f}:{1:.4f}]\nset yrange [{0:.4f}:{1:.4f}]\n", -arcsec, arcsec);
        const double step = round_step(2.0 * arcsec, 5);
        add("set xtics {0:g} nomirror out tc rgb '{1}'\nset ytics {0:g} nomirror out tc rgb '{1}'\n", step,
            ink);
        for (std::size_t r = 0; r < picture_.rows.size(); ++r)
            row(r);
        add("unset multiplot\n");
        return take();
    }

  private:
    [[nodiscard]] double x(double px) const { return px / width_; }
    [[nodiscard]] double y(double px_from_top) const { return 1.0 - px_from_top / height_; }
    [[nodiscard]] double half_arcsec() const {
        return 0.5 * std::max(box_.width, box_.height) * picture_.scale_arcsec_per_px;
    }

    void row(std::size_t r) {
        const HostRow& one = picture_.rows[r];
        std::vector<double> host;
        for (const float v : one.model.adu)
            host.push_back(static_cast<double>(v));
        const double sky = numerics::quantile(host, 0.3);
        std::vector<double> seen;
        for (const float v : one.data.adu)
            seen.push_back(static_cast<double>(v));
        const double top = std::max(numerics::quantile(seen, 0.999), sky + 10.0 * one.noise_adu);
        const int from_top = top_px + static_cast<int>(r) * (panel_px + row_gap_px);
        const bool last = r + 1 == picture_.rows.size();
        const std::string heads[] = {fmt::format("{}: the frame", one.method), "host and sky of the model",
                                     fmt::format("what is left, ±{:g} times the noise", residual_sigma)};
        for (int c = 0; c < 3; ++c) {
            const double l = left_px + c * (panel_px + gap_px);
            add("set lmargin at screen {:.5f}\nset rmargin at screen {:.5f}\nset tmargin at screen {:.5f}\n"
                "set bmargin at screen {:.5f}\n",
                x(l), x(l + panel_px), y(from_top), y(from_top + panel_px));
            add("set label 3 {} at screen {:.5f},{:.5f} left tc rgb '{}'\n", gnuplot_text(heads[c]), x(l),
                y(from_top - 14), slate);
            if (c == 2) {
                add("set palette defined (-1 '#2166ac', -0.35 '#a7cbe2', 0 '#ffffff', 0.35 '#f3b48f', 1 "
                    "'#b2381c')\nset cbrange [-1:1]\n");
            } else {
                add("set palette defined (0 '#ffffff', 0.5 '#8d949b', 1 '#101418')\nset cbrange [0:1]\n");
            }
            add("set format y '{}'\nset format x '{}'\n", c == 0 ? "%g" : "", last ? "%g" : "");
            add("{}\n", c == 0 ? "set ylabel 'arcsec' offset 1.2,0" : "unset ylabel");
            if (last) {
                add("set xlabel 'arcsec' offset 0,0.4\n");
            } else {
                add("unset xlabel\n");
            }
            marks(r == 0 && c == 0);
            add("plot '-' using 1:2:3 with image\n");
            pixels(one, c, sky, top);
            if (r == 0 && c == 0) add("unset label 1\nunset label 4\nunset label 5\n");
        }
    }

    void marks(bool with_compass) {
        add("unset arrow\n");
        const double reach = 0.11 * half_arcsec(), open = 0.045 * half_arcsec();
        const auto t = place(picture_.transient);
        int n = 0;
        const double ticks[4][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}};
        for (const auto& d : ticks) {
            add("set arrow {} from {:.4f},{:.4f} to {:.4f},{:.4f} nohead front lc rgb '{}' lw 3\n", ++n,
                t.x + open * d[0], t.y + open * d[1], t.x + reach * d[0], t.y + reach * d[1], ember);
        }
        if (with_compass) compass(n);
        if (!picture_.nucleus) return;
        const auto c = place(*picture_.nucleus);
        const double arm = 0.05 * half_arcsec();
        if (std::max(std::abs(c.x), std::abs(c.y)) + arm > half_arcsec()) return;
        add("set arrow {} from {:.4f},{:.4f} to {:.4f},{:.4f} nohead front lc rgb '{}' lw 1.2\n", ++n,
            c.x - arm, c.y, c.x + arm, c.y, slate);
        add("set arrow {} from {:.4f},{:.4f} to {:.4f},{:.4f} nohead front lc rgb '{}' lw 1.2\n", ++n, c.x,
            c.y - arm, c.x, c.y + arm, slate);
    }

    // Arms to the north and east: a frame may be turned by any angle, and green pixels lie at 45 degrees.
    void compass(int& n) {
        const auto& j = picture_.px_per_arcsec;
        const double arm = 0.16 * half_arcsec(), beyond = 1.35;
        const frame::PixelPosition middle{-0.72 * half_arcsec(), -0.72 * half_arcsec()};
        const std::pair<const char*, frame::PixelPosition> ways[] = {{"E", {j[0], j[2]}},
                                                                     {"N", {j[1], j[3]}}};
        int label = 4;
        for (const auto& [name, way] : ways) {
            const double length = std::hypot(way.x, way.y);
            if (!(length > 0.0)) continue;
            const double dx = arm * way.x / length, dy = arm * way.y / length;
            add("set arrow {} from {:.4f},{:.4f} to {:.4f},{:.4f} head size screen 0.006,25 filled front lc "
                "rgb '{}' lw "
                "1.5\n",
                ++n, middle.x, middle.y, middle.x + dx, middle.y + dy, ink);
            add("set label {} '{}' at {:.4f},{:.4f} center front tc rgb '{}'\n", label++, name,
                middle.x + beyond * dx, middle.y + beyond * dy, ink);
        }
    }

    // Arcseconds from the middle of the cut-out, along rows and columns.
    [[nodiscard]] frame::PixelPosition place(const frame::PixelPosition& at) const {
        return {(at.x - box_.x0 - 0.5 * (box_.width - 1)) * picture_.scale_arcsec_per_px,
                (at.y - box_.y0 - 0.5 * (box_.height - 1)) * picture_.scale_arcsec_per_px};
    }

    void pixels(const HostRow& one, int column, double sky, double top) {
        for (int py = box_.y0; py < box_.y0 + box_.height; ++py) {
            for (int px = box_.x0; px < box_.x0 + box_.width; ++px) {
                const auto at = place({static_cast<double>(px), static_cast<double>(py)});
                const double data = static_cast<double>(one.data.at(px, py));
                const double model = static_cast<double>(one.model.at(px, py));
                const double value =
                    column == 2 ? std::clamp((data - model) / (residual_sigma * one.noise_adu), -1.0, 1.0)
                                : stretched(column == 0 ? data : model, sky, one.noise_adu, top);
                if (std::isfinite(value)) {
                    add("{:.3f} {:.3f} {:.4f}\n", at.x, at.y, value);
                } else {
                    add("{:.3f} {:.3f} NaN\n", at.x, at.y);
                }
            }
        }
        add("e\n");
    }

    const HostPicture& picture_;
    frame::PixelBox box_;
    int width_ = 0, height_ = 0;
};

}  // namespace

Result<void> draw_host(const HostPicture& picture, const std::string& path) {
    for (const HostRow& row : picture.rows) {
        const std::size_t pixels = row.data.box.pixels();
        if (row.data.box == row.model.box && row.data.box == picture.rows.front().data.box && pixels > 0 &&
            row.data.adu.size() == pixels && row.model.adu.size() == pixels && row.noise_adu > 0.0)
            continue;
        return fail({.what = fmt::format("Data and model of '{}' do not cover the same pixels.", row.method),
                     .where = path,
                     .mend = "Hand over cut-outs of one box, with noise above 0.",
                     .kind = ProblemKind::request});
    }
    if (picture.rows.empty() || !(picture.scale_arcsec_per_px > 0.0)) {
        return fail({.what = "There is no host to draw.",
                     .where = path,
                     .mend = "Hand over at least one method's model, and the pixels' scale.",
                     .kind = ProblemKind::request});
    }
    return run_gnuplot(Script(picture).write(), path);
}

}  // namespace emberline::picture
