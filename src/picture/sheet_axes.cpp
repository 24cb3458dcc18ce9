// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "picture/axis_ticks.hpp"
#include "picture/sheet_parts.hpp"

namespace emberline::picture {
namespace {

constexpr double letters = 12.5;

// A true minus sign, and no minus zero.
std::string number(double value, int decimals) {
    if (std::abs(value) < 0.5 * std::pow(10.0, -decimals)) value = 0.0;
    std::string text = fmt::format("{:.{}f}", std::abs(value), decimals);
    return value < 0.0 ? "−" + text : text;
}

std::vector<double> ticks_of(const PanelAxis& axis, double step) {
    const double low = std::min(axis.low, axis.high), high = std::max(axis.low, axis.high);
    std::vector<double> ticks;
    for (double k = std::ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; ++k)
        ticks.push_back(k * step);
    return ticks;
}

}  // namespace

void draw_upright_axis(Drawing& drawing, const PanelAxis& y, double left, double right,
                       const std::string& words, int ticks) {
    const double step = round_step(std::abs(y.high - y.low), ticks);
    for (const double value : ticks_of(y, step)) {
        drawing.line({{left, y.at(value)}, {right, y.at(value)}}, Tone::faint, 0.8);
        drawing.words({left - 7.0, y.at(value) + 4.5}, number(value, decimals_of_step(step)), letters,
                      Align::end, Tone::slate);
    }
    drawing.line({{left, y.from}, {left, y.to}}, Tone::slate, 1.0);
    drawing.add(DrawWords{.at = {left - 52.0, 0.5 * (y.from + y.to)},
                          .words = words,
                          .size = letters,
                          .align = Align::middle,
                          .tone = Tone::ink,
                          .upwards = true});
}

void draw_level_axis(Drawing& drawing, const PanelAxis& x, double top, double bottom, bool numbers,
                     double less, int ticks) {
    const double step = round_step(std::abs(x.high - x.low), ticks);
    const PanelAxis shown{x.low - less, x.high - less, x.from, x.to};
    for (const double value : ticks_of(shown, step)) {
        drawing.line({{shown.at(value), top}, {shown.at(value), bottom}}, Tone::faint, 0.8);
        drawing.line({{shown.at(value), bottom}, {shown.at(value), bottom + 4.0}}, Tone::slate, 1.0);
        if (numbers) {
            drawing.words({shown.at(value), bottom + 19.0}, number(value, decimals_of_step(step)), letters,
                          Align::middle, Tone::slate);
        }
    }
    drawing.line({{x.from, bottom}, {x.to, bottom}}, Tone::slate, 1.0);
}

void draw_dates(Drawing& drawing, const PanelAxis& x, double top, double lag_d, int most) {
    drawing.line({{x.from, top}, {x.to, top}}, Tone::slate, 1.0);
    for (const DateTick& tick : date_ticks(x.low - lag_d, x.high - lag_d, most)) {
        const double at = x.at(tick.jd_utc + lag_d);
        drawing.line({{at, top}, {at, top - 4.0}}, Tone::slate, 1.0);
        // A long label at the near end keeps clear of the title.
        const bool near = at - 0.5 * width_of(tick.label, letters) < x.from;
        drawing.words({near ? x.from : at, top - 9.0}, tick.label, letters,
                      near ? Align::start : Align::middle, Tone::slate);
    }
    drawing.words({x.from - 7.0, top - 9.0}, "UTC", letters, Align::end, Tone::slate);
}

void draw_bar(Drawing& drawing, double x, double low, double high, Tone tone, double width, double cap) {
    drawing.line({{x, low}, {x, high}}, tone, width);
    if (cap <= 0.0) return;
    for (const double y : {low, high})
        drawing.line({{x - cap, y}, {x + cap, y}}, tone, width);
}

void draw_limit_arrow(Drawing& drawing, DrawPoint at, Tone tone, double size) {
    drawing.line({{at.x - size, at.y}, {at.x + size, at.y}}, tone, 1.6);
    const double tip = at.y + 3.2 * size;
    drawing.line({at, {at.x, tip}}, tone, 1.4);
    drawing.line({{at.x - 0.7 * size, tip - size}, {at.x, tip}, {at.x + 0.7 * size, tip - size}}, tone, 1.4);
}

}  // namespace emberline::picture
