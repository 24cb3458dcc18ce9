// SPDX-License-Identifier: MIT
#include "lightcurve/forecast.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

// Probabilities within one and two sigma of a Gaussian, as quantiles.
constexpr double low_1 = 0.158655, high_1 = 0.841345, low_2 = 0.022750, high_2 = 0.977250;
// The past is compared over stretches of this, and forgotten over the second.
constexpr double stretch_d = 10.0, memory_d = 20.0;
constexpr int stretches_back = 8;
// Steps of the search for a passing.
constexpr int passing_steps = 240;

// The last fit of those with a weight to end tells when the last point was.
double last_of(const std::vector<CurveFit>& fits, std::span<const double> weights) {
    double last = -std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < fits.size(); ++i) {
        if (weights[i] > 0.0) last = std::max(last, fits[i].to_bjd_tdb);
    }
    return last;
}

double first_of(const std::vector<CurveFit>& fits, std::span<const double> weights) {
    double first = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < fits.size(); ++i) {
        if (weights[i] > 0.0) first = std::min(first, fits[i].from_bjd_tdb);
    }
    return first;
}

// A walk of the rate, and what it adds to the magnitude.
class Wanderer {
  public:
    Wanderer(double q, numerics::Random& random) : q_(q), random_(random) {}
    double after(double days) {
        // Of an integrated walk over a step h: var rate q² h, var magnitude q² h³/3, covariance q² h²/2.
        const double a = random_.gaussian(), b = random_.gaussian(), root = std::sqrt(days);
        mag_ += rate_ * days + q_ * days * root * (0.5 * a + b / std::sqrt(12.0));
        rate_ += q_ * root * a;
        return mag_;
    }

  private:
    double q_, mag_ = 0.0, rate_ = 0.0;
    numerics::Random& random_;
};

}  // namespace

double wander_of(const std::vector<CurveFit>& fits, std::span<const double> weights) {
    const double last = last_of(fits, weights), first = first_of(fits, weights);
    const auto mean_mag = [&](double t) {
        double sum = 0.0, all = 0.0;
        for (std::size_t i = 0; i < fits.size(); ++i) {
            if (!(weights[i] > 0.0)) continue;
            sum += weights[i] * fits[i].prediction->magnitude(t).value;
            all += weights[i];
        }
        return sum / all;
    };
    // The mean rates of neighbouring stretches of a random walk differ by a variance of q² · 2/3 of a
    // stretch.
    double sum = usual_wander * usual_wander, seen = 1.0;
    for (int k = 0; k < stretches_back; ++k) {
        const double end = last - 0.5 * k * stretch_d, start = end - 2.0 * stretch_d;
        if (start < first) break;
        const double change = (mean_mag(end) - 2.0 * mean_mag(end - stretch_d) + mean_mag(start)) / stretch_d;
        const double weight = std::exp(-0.5 * k * stretch_d / memory_d);
        sum += weight * change * change / (2.0 / 3.0 * stretch_d);
        seen += weight;
    }
    return std::sqrt(sum / seen);
}

Result<Forecast> Forecast::make(const std::vector<CurveFit>& fits, std::span<const double> weights,
                                const ForecastOptions& options) {
    const double all = std::accumulate(weights.begin(), weights.end(), 0.0);
    if (fits.empty() || weights.size() != fits.size() || !(all > 0.0) || !std::isfinite(all)) {
        return fail({.what = "There is no fit to look ahead with.",
                     .where = {},
                     .mend = "A curve needs more points before anything can be said of coming nights."});
    }
    Forecast out;
    double given = 0.0, before = 0.0;
    const auto draws = static_cast<double>(std::max<std::size_t>(options.draws, 1));
    for (std::size_t i = 0; i < fits.size(); ++i) {
        given += weights[i] / all;
        // Shares of a whole number of draws that add up to all of them.
        const double upto = std::round(given * draws);
        if (upto > before)
            out.shares_.push_back({fits[i].prediction, static_cast<std::size_t>(upto - before)});
        before = upto;
    }
    out.last_ = last_of(fits, weights);
    out.wander_ = options.wander.value_or(wander_of(fits, weights));
    out.seed_ = options.seed;
    return out;
}

numerics::Matrix Forecast::curves(std::span<const double> bjd_tdb) const {
    const std::size_t rows = std::accumulate(shares_.begin(), shares_.end(), std::size_t{0},
                                             [](std::size_t n, const Share& s) { return n + s.draws; });
    numerics::Matrix all(rows, bjd_tdb.size());
    const numerics::Random random(seed_);
    std::size_t row = 0;
    for (std::size_t s = 0; s < shares_.size(); ++s) {
        numerics::Random of_share = random.stream(s + 1);
        const numerics::Matrix drawn = shares_[s].prediction->draws(bjd_tdb, shares_[s].draws, of_share);
        for (std::size_t k = 0; k < shares_[s].draws; ++k, ++row) {
            Wanderer wanderer(wander_, of_share);
            double now = last_;
            for (std::size_t i = 0; i < bjd_tdb.size(); ++i) {
                all(row, i) = drawn(k, i);
                if (bjd_tdb[i] <= last_) continue;
                all(row, i) += wanderer.after(bjd_tdb[i] - now);
                now = bjd_tdb[i];
            }
        }
    }
    return all;
}

std::vector<ForecastPoint> Forecast::at(std::span<const double> bjd_tdb) const {
    std::vector<double> times(bjd_tdb.begin(), bjd_tdb.end());
    std::sort(times.begin(), times.end());
    times.erase(std::unique(times.begin(), times.end()), times.end());
    const numerics::Matrix all = curves(times);
    std::vector<ForecastPoint> points;
    for (const double t : bjd_tdb) {
        const auto column =
            static_cast<std::size_t>(std::lower_bound(times.begin(), times.end(), t) - times.begin());
        std::vector<double> mags(all.rows());
        for (std::size_t row = 0; row < all.rows(); ++row)
            mags[row] = all(row, column);
        const auto at = [&](double q) { return numerics::quantile(mags, q); };
        points.push_back({t, at(0.5), at(low_1), at(high_1), at(low_2), at(high_2)});
    }
    return points;
}

std::optional<Passing> Forecast::passes(double mag, double until_bjd_tdb) const {
    if (!(until_bjd_tdb > last_)) return std::nullopt;
    std::vector<double> times;
    for (int k = 0; k <= passing_steps; ++k)
        times.push_back(last_ + (until_bjd_tdb - last_) * k / passing_steps);
    const numerics::Matrix all = curves(times);
    std::vector<double> passings(all.rows(), std::numeric_limits<double>::infinity());
    for (std::size_t row = 0; row < all.rows(); ++row) {
        // Back from the end, to where it was brighter last.
        std::size_t i = times.size();
        while (i > 0 && all(row, i - 1) >= mag)
            --i;
        if (i == times.size()) continue;
        if (i == 0) {
            passings[row] = times[0];
            continue;
        }
        const double before = all(row, i - 1), after = all(row, i);
        passings[row] = times[i - 1] + (times[i] - times[i - 1]) * (mag - before) / (after - before);
    }
    std::sort(passings.begin(), passings.end());
    const auto at = [&](double q) {
        return passings[static_cast<std::size_t>(q * static_cast<double>(passings.size() - 1) + 0.5)];
    };
    if (!std::isfinite(at(0.5))) return std::nullopt;
    return Passing{at(0.5), at(low_1), at(high_1)};
}

}  // namespace emberline::lightcurve
