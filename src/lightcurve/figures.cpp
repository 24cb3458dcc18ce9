// SPDX-License-Identifier: MIT
// Notation: t_max time of maximum light. A figure's error is the spread of that figure over whole drawn
// curves, so that what moves together (t_max and the fade after it) does so here too, and what all points
// share (a zero point) moves m_max and leaves differences alone.
#include "lightcurve/figures.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

// What a Gaussian holds between −1 and +1 sigma.
constexpr double inside_one_sigma = 0.6826894921370859;
constexpr double least_bracketed = 0.95;

Figure figure_of(double value, std::vector<double> drawn) {
    const double low = numerics::quantile(drawn, 0.5 * (1.0 - inside_one_sigma));
    const double high = numerics::quantile(std::move(drawn), 0.5 * (1.0 + inside_one_sigma));
    return {.value = value, .err = 0.5 * (high - low), .low = low, .high = high};
}

struct Place {
    double bjd_tdb = 0.0, mag = 0.0;
};

// Where a parabola through three points is least.
Place lowest_of(std::span<const double> t, std::span<const double> mag) {
    const double left = (mag[0] - mag[1]) / (t[0] - t[1]), right = (mag[2] - mag[1]) / (t[2] - t[1]);
    const double bend = (right - left) / (t[2] - t[0]);
    if (!(bend > 0.0)) return {t[1], mag[1]};
    const double slope = left + bend * (t[1] - t[0]);  // at the middle one
    const double shift = std::clamp(-0.5 * slope / bend, t[0] - t[1], t[2] - t[1]);
    return {t[1] + shift, mag[1] + shift * (slope + bend * shift)};
}

// Times to look at a curve: close together around its best maximum and where the fade after it is read,
// wide apart elsewhere. The first `inside` of them lie within the fit's interval.
struct Grid {
    std::vector<double> bjd_tdb;
    std::size_t inside = 0;

    // Its maximum of light within the interval, unless at one of its ends.
    [[nodiscard]] std::optional<Place> brightest(std::span<const double> mag) const {
        const auto best = static_cast<std::size_t>(
            std::min_element(mag.begin(), mag.begin() + static_cast<std::ptrdiff_t>(inside)) - mag.begin());
        if (best == 0 || best + 1 >= inside) return std::nullopt;
        return lowest_of(std::span(bjd_tdb).subspan(best - 1, 3), mag.subspan(best - 1, 3));
    }
    [[nodiscard]] double at(double time, std::span<const double> mag) const {
        const auto after = std::upper_bound(bjd_tdb.begin(), bjd_tdb.end(), time);
        const auto k = std::clamp<std::ptrdiff_t>(after - bjd_tdb.begin(), 1,
                                                  static_cast<std::ptrdiff_t>(bjd_tdb.size()) - 1);
        const auto i = static_cast<std::size_t>(k);
        const double share = (time - bjd_tdb[i - 1]) / (bjd_tdb[i] - bjd_tdb[i - 1]);
        return mag[i - 1] + share * (mag[i] - mag[i - 1]);
    }
};

std::vector<double> best_curve(const CurveFit& fit, std::span<const double> bjd_tdb) {
    std::vector<double> mag;
    for (const double t : bjd_tdb)
        mag.push_back(fit.prediction->magnitude(t).value);
    return mag;
}

// With `after_d` more than nothing the grid reaches that long, and a little longer, after the best maximum.
std::optional<Grid> grid_around_peak(const CurveFit& fit, double after_d) {
    // Two days apart no peak is missed; over decades that would be many steps for nothing.
    constexpr double coarse_d = 2.0, fewest_steps = 200.0, most_steps = 4000.0;
    constexpr double finest_d = 0.25, around_d = 15.0;
    const double from = fit.from_bjd_tdb, to = fit.to_bjd_tdb, span = to - from;
    if (!(span > 0.0)) return std::nullopt;
    const double steps = std::round(std::clamp(span / coarse_d, fewest_steps, most_steps));
    const double coarse = span / steps, fine = std::min(finest_d, coarse);
    Grid look;
    for (double i = 0.0; i <= steps; ++i)
        look.bjd_tdb.push_back(from + i * coarse);
    look.inside = look.bjd_tdb.size();
    const auto top = look.brightest(best_curve(fit, look.bjd_tdb));
    if (!top) return std::nullopt;

    Grid grid;
    const double margin = std::min(around_d, 0.5 * span);
    const double fine_from = top->bjd_tdb - margin, fine_to = top->bjd_tdb + after_d + margin;
    double t = from;
    while (t < to) {
        grid.bjd_tdb.push_back(t);
        t += t >= fine_from && t < fine_to ? fine : coarse;
    }
    grid.bjd_tdb.push_back(to);
    grid.inside = grid.bjd_tdb.size();
    for (t = to + fine; t <= fine_to; t += fine)
        grid.bjd_tdb.push_back(t);
    return grid;
}

// One curve's maximum, and how much fainter it is some days later.
struct PeakAndFade {
    Place peak;
    double faded_mag = 0.0;
};

struct Drawn {
    PeakAndFade best;
    std::vector<PeakAndFade> draws;  // of those curves that have their maximum inside
    double bracketed = 0.0;
};

std::optional<Drawn> draw_peaks(const CurveFit& fit, double after_d, std::uint64_t seed, std::size_t draws) {
    const auto grid = grid_around_peak(fit, after_d);
    if (!grid || draws == 0) return std::nullopt;
    const auto read = [&](std::span<const double> mag) -> std::optional<PeakAndFade> {
        const auto peak = grid->brightest(mag);
        if (!peak) return std::nullopt;
        return PeakAndFade{*peak, grid->at(peak->bjd_tdb + after_d, mag) - peak->mag};
    };
    const auto best = read(best_curve(fit, grid->bjd_tdb));
    if (!best) return std::nullopt;
    Drawn drawn{.best = *best, .draws = {}};
    numerics::Random random(seed);
    const numerics::Matrix curves = fit.prediction->draws(grid->bjd_tdb, draws, random);
    for (std::size_t k = 0; k < draws; ++k) {
        if (const auto one = read(curves.row(k))) drawn.draws.push_back(*one);
    }
    drawn.bracketed = static_cast<double>(drawn.draws.size()) / static_cast<double>(draws);
    if (drawn.bracketed < least_bracketed) return std::nullopt;
    return drawn;
}

template <typename Read>
std::vector<double> each(const std::vector<PeakAndFade>& draws, const Read& read) {
    std::vector<double> values;
    for (const PeakAndFade& one : draws)
        values.push_back(read(one));
    return values;
}

}  // namespace

std::optional<Peak> peak_of(const CurveFit& fit, std::uint64_t seed, std::size_t draws) {
    const auto drawn = draw_peaks(fit, 0.0, seed, draws);
    if (!drawn) return std::nullopt;
    const Place& best = drawn->best.peak;
    // Counted from the best one: a Julian date leaves few digits for a quantile.
    Figure time = figure_of(
        0.0, each(drawn->draws, [&](const PeakAndFade& one) { return one.peak.bjd_tdb - best.bjd_tdb; }));
    time.value += best.bjd_tdb;
    time.low += best.bjd_tdb;
    time.high += best.bjd_tdb;
    return Peak{
        .bjd_tdb = time,
        .mag = figure_of(best.mag, each(drawn->draws, [](const PeakAndFade& one) { return one.peak.mag; })),
        .model = fit.model,
        .bracketed = drawn->bracketed};
}

std::optional<Figure> fade_after_peak(const CurveFit& fit, double days, double redshift, std::uint64_t seed,
                                      std::size_t draws) {
    const double after_d = days * (1.0 + redshift);
    const auto drawn = draw_peaks(fit, after_d, seed, draws);
    if (!drawn || drawn->best.peak.bjd_tdb + after_d > fit.to_bjd_tdb) return std::nullopt;
    return figure_of(drawn->best.faded_mag,
                     each(drawn->draws, [](const PeakAndFade& one) { return one.faded_mag; }));
}

Figure rate_between(const CurveFit& fit, double from_bjd_tdb, double to_bjd_tdb, std::uint64_t seed,
                    std::size_t draws) {
    const std::vector<double> ends{std::min(from_bjd_tdb, to_bjd_tdb), std::max(from_bjd_tdb, to_bjd_tdb)};
    const double span = ends[1] - ends[0];
    if (!(span > 0.0) || draws == 0) return {0.0, HUGE_VAL, -HUGE_VAL, HUGE_VAL};
    const auto best = best_curve(fit, ends);
    numerics::Random random(seed);
    const numerics::Matrix curves = fit.prediction->draws(ends, draws, random);
    std::vector<double> rates;
    for (std::size_t k = 0; k < draws; ++k)
        rates.push_back((curves(k, 1) - curves(k, 0)) / span);
    return figure_of((best[1] - best[0]) / span, std::move(rates));
}

ValueWithError cobalt_ratio(const ValueWithError& mag_per_day, double redshift) {
    const double scale = (1.0 + redshift) / cobalt56_decline_mag_per_day;
    return {mag_per_day.value * scale, mag_per_day.err * scale};
}

}  // namespace emberline::lightcurve
