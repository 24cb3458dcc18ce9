// SPDX-License-Identifier: MIT
#include "lightcurve/student_t.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/log_gamma.hpp"

namespace emberline::lightcurve {

double tail_depth(double z2, std::optional<double> nu) {
    return nu ? (*nu + 1.0) * std::log1p(z2 / *nu) : z2;
}

double tail_constant(std::optional<double> nu) {
    if (!nu) return std::log(2.0 * std::numbers::pi);
    return 2.0 * (numerics::log_gamma(0.5 * *nu) - numerics::log_gamma(0.5 * (*nu + 1.0))) +
           std::log(*nu * std::numbers::pi);
}

double tail_weight(double z2, std::optional<double> nu) {
    return nu ? (*nu + 1.0) / (*nu + z2) : 1.0;
}

double tail_information(std::optional<double> nu) {
    return nu ? (*nu + 1.0) / (*nu + 3.0) : 1.0;
}

double standing_weight(double z2, std::optional<double> nu) {
    constexpr double outlier_sigma = 3.0;
    return z2 > outlier_sigma * outlier_sigma ? std::min(1.0, tail_weight(z2, nu)) : 1.0;
}

TailSpread tail_spread(std::span<const double> squared_residuals, std::size_t parameters,
                       std::optional<double> nu) {
    const std::size_t n = squared_residuals.size();
    if (!nu || n <= parameters) return {};
    // Residuals are smaller than errors by what the fit took up.
    const double taken_up = static_cast<double>(n) / static_cast<double>(n - parameters);
    double slope = 0.0, square = 0.0, standing = 0.0;
    for (const double fitted : squared_residuals) {
        const double z2 = fitted * taken_up, below = *nu + z2;
        slope += (*nu + 1.0) * (*nu - z2) / (below * below) / static_cast<double>(n);
        square += (*nu + 1.0) * (*nu + 1.0) * z2 / (below * below) / static_cast<double>(n);
        standing += standing_weight(fitted, nu) / static_cast<double>(n);
    }
    // A few points tell both badly. A Gaussian core gives 1.17 at most; the t itself gives the inverse of its
    // information.
    const double information = tail_information(nu);
    slope = std::max(slope, 0.5 * information);
    const double covariance = std::clamp(standing * square / (slope * slope), 1.0, 2.0 / information);
    return {.covariance = covariance, .likelihood = std::min(1.0, covariance * slope / standing)};
}

}  // namespace emberline::lightcurve
