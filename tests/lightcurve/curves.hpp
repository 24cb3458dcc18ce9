// SPDX-License-Identifier: MIT
// Light curves to try a fit on: points in few words, and straight fades with noise of known size.
#pragma once

#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

#include "lightcurve/fit.hpp"
#include "numerics/random.hpp"

namespace emberline::test {

inline constexpr double epoch_bjd = 2460400.5;

inline lightcurve::LightCurve empty_curve() {
    lightcurve::LightCurve curve;
    curve.band = parse_band("V").value();
    return curve;
}

inline lightcurve::Point measured(double days, double mag, double err) {
    lightcurve::Point point;
    point.bjd_tdb = epoch_bjd + days;
    point.jd_utc = point.bjd_tdb;
    point.magnitude_mag = mag;
    point.random_err_mag = err;
    return point;
}

inline lightcurve::Point limit(double days, double limit_mag) {
    lightcurve::Point point;
    point.bjd_tdb = epoch_bjd + days;
    point.jd_utc = point.bjd_tdb;
    point.is_limit = true;
    point.limit_mag = limit_mag;
    return point;
}

inline double flux_of(double mag) {
    return flux_ratio(mag - lightcurve::flux_zero_mag);
}

// A point with its flux; below 3 sigma a limit, as an observer would report it.
inline lightcurve::Point from_flux(double days, double flux, double err) {
    const double limit_mag = lightcurve::flux_zero_mag + magnitude_difference(3.0 * err, 1.0);
    lightcurve::Point point =
        flux < 3.0 * err ? limit(days, limit_mag)
                         : measured(days, lightcurve::flux_zero_mag + magnitude_difference(flux, 1.0),
                                    mag_per_relative_flux * err / flux);
    point.flux = Flux{flux, err};
    return point;
}

// Mean and standard deviation of a sample.
struct Spread {
    double mean = 0.0, sigma = 0.0;
};
inline Spread spread_of(std::span<const double> values) {
    Spread s;
    for (const double v : values)
        s.mean += v / static_cast<double>(values.size());
    for (const double v : values)
        s.sigma += (v - s.mean) * (v - s.mean) / static_cast<double>(values.size() - 1);
    s.sigma = std::sqrt(s.sigma);
    return s;
}

inline lightcurve::CurveFit line_through(const lightcurve::LightCurve& curve,
                                         const lightcurve::FitOptions& options = {}) {
    const auto result = lightcurve::fit(curve, lightcurve::straight_line(), options);
    INFO((result ? std::string() : one_line(result.error())));
    REQUIRE(result);
    return *result;
}

inline ValueWithError rate_of(const lightcurve::CurveFit& fit) {
    const auto rate = lightcurve::decline_rate(fit);
    REQUIRE(rate);
    return rate->mag_per_day;
}

// Least squares and nothing else.
inline const lightcurve::FitOptions plain{
    .from_bjd_tdb = {}, .to_bjd_tdb = {}, .robust = false, .fit_extra_scatter = false};

}  // namespace emberline::test
