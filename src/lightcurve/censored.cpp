// SPDX-License-Identifier: MIT
// Notation: Φ, φ the Gaussian distribution and density; ε the chance of a mistaken limit.
// Source: asymptotic series of Φ from Abramowitz & Stegun 1964, 26.2.12.
#include "lightcurve/censored.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace emberline::lightcurve {
namespace {

const double log_sqrt_two_pi = 0.5 * std::log(2.0 * std::numbers::pi);

double log_density(double z) {
    return -0.5 * z * z - log_sqrt_two_pi;
}

double log_distribution(double z) {
    if (z > -10.0) return std::log(0.5 * std::erfc(-z / std::numbers::sqrt2));
    // Here the next term of the series, 105/z⁸, is 1e-6 at most.
    const double y = 1.0 / (z * z);
    return log_density(z) - std::log(-z) + std::log1p(y * (-1.0 + y * (3.0 - 15.0 * y)));
}

}  // namespace

CensoredTerm censored_term(double z, double mistake_probability) {
    const double log_good = std::log1p(-mistake_probability) + log_distribution(z);
    const double log_total =
        mistake_probability > 0.0
            ? std::max(log_good, std::log(mistake_probability)) +
                  std::log1p(std::exp(-std::abs(log_good - std::log(mistake_probability))))
            : log_good;
    CensoredTerm term;
    term.minus_two_log = -2.0 * log_total;
    term.trust = std::exp(log_good - log_total);
    term.pull = std::exp(std::log1p(-mistake_probability) + log_density(z) - log_total);
    term.curvature = std::max(term.pull * (term.pull + z), 0.0);
    return term;
}

}  // namespace emberline::lightcurve
