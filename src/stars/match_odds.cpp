// SPDX-License-Identifier: MIT
#include "stars/match_odds.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/log_gamma.hpp"

namespace emberline::stars {

double log_binomial_tail(std::size_t n, double p, std::size_t k) {
    if (k == 0 || p >= 1.0) return 0.0;
    if (k > n || !(p > 0.0)) return -HUGE_VAL;
    const auto total = static_cast<double>(n);
    const double log_p = std::log(p), log_q = std::log1p(-p);
    const auto log_term = [&](double i) {
        return numerics::log_gamma(total + 1.0) - numerics::log_gamma(i + 1.0) -
               numerics::log_gamma(total - i + 1.0) + i * log_p + (total - i) * log_q;
    };
    // The terms rise to the mode and fall after it: summed against the greatest of them.
    const double mode = std::clamp(std::floor((total + 1.0) * p), static_cast<double>(k), total);
    const double greatest = log_term(mode);
    double sum = 0.0;
    for (std::size_t i = k; i <= n; ++i) {
        const double term = std::exp(log_term(static_cast<double>(i)) - greatest);
        sum += term;
        if (static_cast<double>(i) > mode && term < 1e-17 * sum) break;
    }
    return std::min(0.0, greatest + std::log(sum));
}

double chance_of_improvement(double ratio, double dof, std::size_t pairs_of_freedom) {
    if (!(dof > 0.0) || !(ratio < 1.0)) return 1.0;
    if (!(ratio > 0.0)) return 0.0;
    // I_x(a, m) = x^a Σ_{j<m} Γ(a + j) / (Γ(a) j!) (1 − x)^j for a whole number m.
    const double a = dof / 2.0;
    double term = 1.0, sum = 1.0;
    for (std::size_t j = 1; j < pairs_of_freedom; ++j) {
        term *= (a + static_cast<double>(j) - 1.0) / static_cast<double>(j) * (1.0 - ratio);
        sum += term;
    }
    return std::min(1.0, std::pow(ratio, a) * sum);
}

double log_odds_of(const std::vector<StarOnFrame>& stars, std::size_t references_on_frame, double area_px,
                   double distractors) {
    double sum = 0.0;
    for (const StarOnFrame& star : stars) {
        double seen = 0.0;
        if (star.near && references_on_frame > 0) {
            seen = (1.0 - distractors) * area_px / static_cast<double>(references_on_frame) *
                   std::exp(-star.squared_sigmas / 2.0) /
                   (2.0 * std::numbers::pi * star.err_px * star.err_px);
        }
        sum += std::log(distractors + seen);
    }
    return sum;
}

}  // namespace emberline::stars
