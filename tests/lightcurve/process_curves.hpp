// SPDX-License-Identifier: MIT
// Curves to try a Gaussian process on: a type Ia's, seen on the nights that there are.
#pragma once

#include <algorithm>
#include <vector>

#include "lightcurve/curves.hpp"
#include "lightcurve/gaussian_process.hpp"

namespace emberline::test {

inline constexpr lightcurve::Smoothness both[] = {lightcurve::Smoothness::matern_3_2,
                                                  lightcurve::Smoothness::matern_5_2};

inline lightcurve::CurveFit process_through(const lightcurve::LightCurve& curve,
                                            lightcurve::Smoothness smoothness,
                                            const lightcurve::FitOptions& options = {}) {
    const auto fit = lightcurve::fit_gaussian_process(curve, smoothness, options);
    INFO((fit ? std::string() : one_line(fit.error())));
    REQUIRE(fit);
    return *fit;
}

// A type Ia's blue light: a peak near day −1, 1.15 mag of fade in 15 d, a tail.
inline double type_ia(double days) {
    const double line = 15.6 + 0.015 * days, peak = -1.9 * std::exp(-0.5 * std::pow(days / 12.0, 2));
    return line + peak - 2.5 * std::log10(1.0 - std::exp(-(days + 18.0) / 3.0));
}

// Six nights of ten are clear, now and then a week is lost; 0.01 mag at best, 0.02 at 14.0.
inline std::vector<double> clear_nights(double from, double to, numerics::Random& random) {
    std::vector<double> nights;
    for (double t = from + random.uniform(0.0, 3.0); t < to; t += 1.0 + random.uniform(-0.1, 0.1)) {
        if (random.uniform() < 0.05) t += 6.0;
        if (random.uniform() < 0.6) nights.push_back(t);
    }
    return nights;
}
inline double error_at(double mag) {
    return std::max(0.01, 0.02 * std::pow(10.0, 0.2 * (mag - 14.0)));
}

inline lightcurve::LightCurve observed_type_ia(std::uint64_t seed, double from = -14.0, double to = 60.0) {
    numerics::Random random(seed);
    auto curve = empty_curve();
    for (const double t : clear_nights(from, to, random)) {
        const double err = error_at(type_ia(t));
        curve.points.push_back(measured(t, type_ia(t) + random.gaussian(0.0, err), err));
    }
    return curve;
}

}  // namespace emberline::test
