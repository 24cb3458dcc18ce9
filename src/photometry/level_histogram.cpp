// SPDX-License-Identifier: MIT
#include "photometry/level_histogram.hpp"

#include <algorithm>
#include <cmath>

namespace emberline::photometry {
namespace {

constexpr double whole = 0.02;  // of a step: rounding of floating-point levels
constexpr std::size_t most_differences = 4000;
constexpr double middle_low = 0.25, middle_high = 0.75;

// The greatest step that all differences are multiples of; 0 where there is none.
double common_step(const std::vector<float>& sorted) {
    double step = 0.0;
    const double smallest = 1e-7 * std::max(std::abs(static_cast<double>(sorted.front())),
                                            std::abs(static_cast<double>(sorted.back())));
    std::size_t seen = 0;
    for (std::size_t i = 1; i < sorted.size() && seen < most_differences; ++i) {
        double d = static_cast<double>(sorted[i]) - static_cast<double>(sorted[i - 1]);
        if (d <= smallest) continue;
        ++seen;
        if (step == 0.0) {
            step = d;
            continue;
        }
        // Euclid's, with room for rounding.
        double a = std::max(step, d), b = std::min(step, d);
        while (b > whole * step) {
            const double rest = std::abs(a - b * std::round(a / b));
            a = b;
            b = rest;
            if (b < whole * a) break;
        }
        step = a;
        if (step <= smallest) return 0.0;
    }
    return step;
}

}  // namespace

LevelHistogram level_histogram(std::vector<float> sky, std::span<const float> stars, double scatter_adu) {
    LevelHistogram h;
    const auto undefined = [](float v) { return !std::isfinite(v); };
    sky.erase(std::remove_if(sky.begin(), sky.end(), undefined), sky.end());
    h.pixels = sky.size();
    if (sky.empty()) return h;
    std::sort(sky.begin(), sky.end());
    h.lowest = static_cast<double>(sky.front());
    h.highest = static_cast<double>(sky.back());
    for (const float v : stars) {
        if (!undefined(v)) h.highest = std::max(h.highest, static_cast<double>(v));
    }
    h.step = common_step(sky);
    if (h.step > 0.0) h.levels = h.highest / h.step + 1.0;
    const auto n = static_cast<double>(sky.size());
    const auto within = [&](double low, double high) {
        const auto first = std::lower_bound(sky.begin(), sky.end(), static_cast<float>(low));
        const auto last = std::upper_bound(sky.begin(), sky.end(), static_cast<float>(high));
        return static_cast<double>(last - first);
    };
    h.at_lowest = within(h.lowest, h.lowest) / n;
    const auto at = [&](double q) { return sky[static_cast<std::size_t>(q * (n - 1.0))]; };
    const auto low = std::lower_bound(sky.begin(), sky.end(), at(middle_low));
    const auto high = std::upper_bound(sky.begin(), sky.end(), at(middle_high));
    double distinct = 0.0;
    for (auto i = low; i != high; ++i)
        distinct += i == low || *i != *(i - 1) ? 1.0 : 0.0;
    const double span = static_cast<double>(*(high - 1) - *low);
    if (h.step > 0.0) {
        // n pixels over m levels leave m e^(−n/m) of them empty.
        const double m = std::max(1.0, span / h.step + 1.0);
        h.used = distinct / (m * (1.0 - std::exp(-static_cast<double>(high - low) / m)));
    }
    if (distinct > 1.0) h.sky_spacing = span / (distinct - 1.0);
    const double near = std::max(0.2 * scatter_adu, 2.0 * h.sky_spacing);
    if (near > 0.0) {
        const auto next = static_cast<double>(std::nextafter(sky.front(), sky.back()));
        const double above = within(next, h.lowest + near);
        h.at_lowest_expected = above / n * std::min(1.0, h.sky_spacing / near);
    }
    return h;
}

}  // namespace emberline::photometry
