// SPDX-License-Identifier: MIT
#include "lightcurve/gaussian_process.hpp"

#include <numbers>

#include "lightcurve/figures.hpp"
#include "lightcurve/process_curves.hpp"
#include "numerics/matern_filter.hpp"

using namespace emberline;
using namespace emberline::test;
using lightcurve::Smoothness;
using numerics::Matern;
using numerics::MaternOrder;
using numerics::Random;

namespace {

MaternOrder order_of(Smoothness smoothness) {
    return smoothness == Smoothness::matern_3_2 ? MaternOrder::three_halves : MaternOrder::five_halves;
}

// A curve of the process itself at ascending times, by the process's own state-space form far from any value;
// that its draws are right is tested against dense matrices elsewhere.
std::vector<double> drawn(const Matern& process, const std::vector<double>& times, Random& random) {
    const auto posterior = numerics::MaternPosterior::make(process, {{-1e7}, {0.0}, {1e9}, {}});
    REQUIRE(posterior);
    const auto row = posterior->draws(times, {}, 1, random);
    return row.values();
}

double rms(const std::vector<double>& values) {
    double sum = 0.0;
    for (const double v : values)
        sum += v * v / static_cast<double>(values.size());
    return std::sqrt(sum);
}

double share_within(const std::vector<double>& pulls, double sigma) {
    const auto inside =
        std::count_if(pulls.begin(), pulls.end(), [&](double z) { return std::abs(z) < sigma; });
    return static_cast<double>(inside) / static_cast<double>(pulls.size());
}

}  // namespace

TEST_CASE("a process's −2 ln L is that of dense matrices, its line at its best", "[gaussian_process]") {
    for (const auto smoothness : both) {
        auto curve = observed_type_ia(31, -3.0, 25.0);
        curve.common_names = {"zero point"};
        for (auto& point : curve.points)
            point.common_err_mag = {0.05};
        const auto fit = process_through(curve, smoothness, plain);
        REQUIRE(fit.extra_scatter_mag == 0.0);
        const std::size_t n = curve.points.size();
        const Matern process{order_of(smoothness), fit.parameters[0], fit.parameters[1]};
        numerics::Matrix c(n, n);
        std::vector<double> y(n), one(n, 1.0), days(n);
        double log_determinant = 0.0;
        for (std::size_t i = 0; i < n; ++i) {
            const auto& p = curve.points[i];
            y[i] = *p.magnitude_mag;
            days[i] = p.bjd_tdb - fit.reference_bjd_tdb;
            for (std::size_t j = 0; j < n; ++j) {
                c(i, j) = numerics::covariance(process, p.bjd_tdb - curve.points[j].bjd_tdb) + 0.0025 +
                          (i == j ? *p.random_err_mag * *p.random_err_mag : 0.0);
            }
        }
        const auto lower = numerics::cholesky_lower(c);
        for (std::size_t i = 0; i < n; ++i)
            log_determinant += 2.0 * std::log(lower(i, i));
        const auto dot = [&](const std::vector<double>& a, const std::vector<double>& b) {
            const auto solved = numerics::solve_cholesky(lower, b);
            double sum = 0.0;
            for (std::size_t i = 0; i < n; ++i)
                sum += a[i] * solved[i];
            return sum;
        };
        const double a = dot(one, one), b = dot(one, days), d = dot(days, days);
        const double u = dot(one, y), v = dot(days, y), det = a * d - b * b;
        const double chi2 = dot(y, y) - (d * u * u - 2.0 * b * u * v + a * v * v) / det;
        // The line's priors add a squared hundredth of a sigma or so.
        CHECK(fit.minus_two_log_likelihood ==
              Approx(chi2 + log_determinant + static_cast<double>(n) * std::log(2.0 * std::numbers::pi))
                  .margin(0.01));
        CHECK(fit.bic == Approx(fit.minus_two_log_likelihood + 4.0 * std::log(static_cast<double>(n))));
        // A zero point that all share cannot be seen in them.
        REQUIRE(fit.commons.size() == 1);
        CHECK(fit.commons[0].err == Approx(1.0).margin(0.01));
    }
}

TEST_CASE("curves of the process itself are covered at unseen times as often as is said",
          "[gaussian_process]") {
    constexpr std::uint64_t seed = 5;
    CAPTURE(seed);
    for (const auto smoothness : both) {
        for (const std::size_t n : {8, 30}) {
            Random random(seed);
            std::vector<double> pulls, scale_pulls;
            for (int curves = 0; curves < 120; ++curves) {
                std::vector<std::pair<double, bool>> nights;
                double t = 0.0;
                for (std::size_t k = 0; k < n; ++k) {
                    t += random.uniform(0.3, 4.0) + (random.uniform() < 0.1 ? 10.0 : 0.0);
                    nights.emplace_back(t, true);
                }
                for (int k = 0; k < 20; ++k)
                    nights.emplace_back(random.uniform(0.0, t), false);
                std::sort(nights.begin(), nights.end());
                std::vector<double> times;
                for (const auto& night : nights)
                    times.push_back(night.first);
                auto truth = drawn({order_of(smoothness), 0.8, 15.0}, times, random);
                auto curve = empty_curve();
                for (std::size_t k = 0; k < times.size(); ++k) {
                    truth[k] += 15.0 + 0.02 * times[k];
                    const double err = random.uniform(0.01, 0.05);
                    if (nights[k].second)
                        curve.points.push_back(measured(times[k], truth[k] + random.gaussian(0.0, err), err));
                }
                const auto fit = process_through(curve, smoothness);
                for (std::size_t k = 0; k < times.size(); ++k) {
                    if (nights[k].second) continue;
                    const auto said = fit.prediction->magnitude(epoch_bjd + times[k]);
                    pulls.push_back((said.value - truth[k]) / said.err);
                }
                const auto scale = *fit.parameter("time_scale");
                scale_pulls.push_back(std::log(scale.value / 15.0) / (scale.err / scale.value));
            }
            CAPTURE(n);
            // 2400 places, of which those of one curve go together: 0.02 and 0.01 are their own scatter.
            CHECK(share_within(pulls, 1.0) == Approx(0.683).margin(0.05));
            CHECK(share_within(pulls, 1.96) == Approx(0.95).margin(0.035));
            // Priors make few points agree; many speak for themselves.
            if (n == 30) CHECK(rms(scale_pulls) == Approx(1.0).margin(0.2));
        }
    }
}

TEST_CASE("peak and fade of a type Ia that is as rough as the process pull as one sigma should",
          "[gaussian_process]") {
    constexpr std::uint64_t seed = 6;
    CAPTURE(seed);
    for (const auto smoothness : both) {
        Random random(seed);
        std::vector<double> time_pulls, mag_pulls, fade_pulls;
        for (std::uint64_t curves = 0; curves < 80; ++curves) {
            std::vector<std::pair<double, bool>> times;
            for (const double t : clear_nights(-14.0, 60.0, random))
                times.emplace_back(t, true);
            for (int k = 0; k < 350; ++k)
                times.emplace_back(-10.0 + 0.1 * k, false);
            std::sort(times.begin(), times.end());
            std::vector<double> days;
            for (const auto& t : times)
                days.push_back(t.first);
            auto truth = drawn({order_of(smoothness), 0.15, 10.0}, days, random);
            auto curve = empty_curve();
            std::size_t best = 0;
            for (std::size_t k = 0; k < days.size(); ++k) {
                truth[k] += type_ia(days[k]);
                if (truth[k] < truth[best]) best = k;
                if (!times[k].second) continue;
                const double err = error_at(truth[k]);
                curve.points.push_back(measured(days[k], truth[k] + random.gaussian(0.0, err), err));
            }
            const auto fit = process_through(curve, smoothness);
            const auto peak = lightcurve::peak_of(fit, curves + 1, 400);
            const auto fade = lightcurve::fade_after_peak(fit, 15.0, 0.0, curves + 1, 400);
            if (!peak || !fade) continue;
            const auto later = std::lower_bound(days.begin(), days.end(), days[best] + 15.0);
            REQUIRE(later != days.end());
            time_pulls.push_back((peak->bjd_tdb.value - epoch_bjd - days[best]) / peak->bjd_tdb.err);
            mag_pulls.push_back((peak->mag.value - truth[best]) / peak->mag.err);
            fade_pulls.push_back(
                (fade->value - (truth[static_cast<std::size_t>(later - days.begin())] - truth[best])) /
                fade->err);
        }
        CAPTURE(static_cast<int>(smoothness));
        REQUIRE(time_pulls.size() > 72);
        for (const auto* pulls : {&time_pulls, &mag_pulls, &fade_pulls}) {
            // A spread of 80 pulls is known to 0.08.
            CHECK(rms(*pulls) == Approx(1.0).margin(0.24));
            CHECK(share_within(*pulls, 1.0) == Approx(0.683).margin(0.15));
        }
    }
}

TEST_CASE("of a curve smoother than the process the errors are too large, never too small",
          "[gaussian_process]") {
    constexpr std::uint64_t seed = 700;
    CAPTURE(seed);
    // Maximum and fade of the formula, on a grid of 0.001 d.
    double peak_days = 0.0;
    for (double t = -5.0; t < 5.0; t += 0.001) {
        if (type_ia(t) < type_ia(peak_days)) peak_days = t;
    }
    const double true_fade = type_ia(peak_days + 15.0) - type_ia(peak_days);
    for (const auto smoothness : both) {
        std::vector<double> time_pulls, mag_pulls, fade_pulls;
        for (std::uint64_t curves = 0; curves < 60; ++curves) {
            const auto fit = process_through(observed_type_ia(seed + curves), smoothness);
            const auto peak = lightcurve::peak_of(fit, curves + 1, 400);
            const auto fade = lightcurve::fade_after_peak(fit, 15.0, 0.0, curves + 1, 400);
            if (!peak || !fade) continue;
            time_pulls.push_back((peak->bjd_tdb.value - epoch_bjd - peak_days) / peak->bjd_tdb.err);
            mag_pulls.push_back((peak->mag.value - type_ia(peak_days)) / peak->mag.err);
            fade_pulls.push_back((fade->value - true_fade) / fade->err);
        }
        CAPTURE(static_cast<int>(smoothness));
        REQUIRE(time_pulls.size() > 50);
        // Over 150 curves the times' and fades' pulls spread by 0.55 and 0.6 with ν = 3/2, by 0.7 with 5/2;
        // the magnitudes' by 0.75 and 0.9.
        for (const auto* pulls : {&time_pulls, &mag_pulls, &fade_pulls}) {
            CHECK(rms(*pulls) > 0.4);
            CHECK(rms(*pulls) < 1.1);
        }
        // No bias beyond a third of an error.
        CHECK(std::abs(spread_of(time_pulls).mean) < 0.35);
        CHECK(std::abs(spread_of(mag_pulls).mean) < 0.35);
        CHECK(std::abs(spread_of(fade_pulls).mean) < 0.35);
    }
}
