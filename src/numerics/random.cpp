// SPDX-License-Identifier: MIT
#include "numerics/random.hpp"

#include <bit>
#include <cmath>
#include <numbers>

namespace emberline::numerics {
namespace {

// SplitMix64 (Steele, Lea & Flood 2014, OOPSLA): spreads a seed over all bits.
std::uint64_t split_mix(std::uint64_t& state) {
    state += 0x9e3779b97f4a7c15ULL;
    std::uint64_t z = state;
    z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27U)) * 0x94d049bb133111ebULL;
    return z ^ (z >> 31U);
}

// ln k!; Stirling's series, whose next term is 6e-11 at k = 10. Each library has a lgamma of its own, and the
// numbers shall be the same everywhere.
double log_factorial(double k) {
    if (k < 10.0) {
        double product = 1.0;
        for (double i = 2.0; i <= k; i += 1.0)
            product *= i;
        return std::log(product);
    }
    const double square = k * k;
    return (k + 0.5) * std::log(k) - k + 0.5 * std::log(2.0 * std::numbers::pi) +
           (1.0 / 12.0 - (1.0 / 360.0 - 1.0 / 1260.0 / square) / square) / k;
}

// The smallest count whose cumulative probability passes u. Below a mean of 30 no count above 300 has a
// probability that a double can add to the sum.
std::uint64_t invert_poisson(double mean, double u) {
    constexpr std::uint64_t most = 300;
    double probability = std::exp(-mean);
    std::uint64_t count = 0;
    while (u >= probability && count < most) {
        u -= probability;
        ++count;
        probability *= mean / static_cast<double>(count);
    }
    return count;
}

}  // namespace

Random::Random(std::uint64_t seed) : seed_(seed) {
    std::uint64_t state = seed;
    for (std::uint64_t& word : state_)
        word = split_mix(state);
}

Random Random::stream(std::uint64_t number) const {
    std::uint64_t state = seed_;
    const std::uint64_t mixed = split_mix(state);
    state = number;
    return Random(mixed ^ std::rotl(split_mix(state), 17));
}

std::uint64_t Random::bits() {
    const std::uint64_t result = std::rotl(state_[0] + state_[3], 23) + state_[0];
    const std::uint64_t shifted = state_[1] << 17U;
    state_[2] ^= state_[0];
    state_[3] ^= state_[1];
    state_[1] ^= state_[2];
    state_[0] ^= state_[3];
    state_[2] ^= shifted;
    state_[3] = std::rotl(state_[3], 45);
    return result;
}

double Random::uniform() {
    return static_cast<double>(bits() >> 11U) * 0x1.0p-53;
}

double Random::uniform(double low, double high) {
    return low + (high - low) * uniform();
}

// Marsaglia's polar method (Marsaglia & Bray 1964, SIAM Review 6, 260).
double Random::gaussian() {
    if (spare_ready_) {
        spare_ready_ = false;
        return spare_;
    }
    double x = 0.0, y = 0.0, square = 0.0;
    do {
        x = 2.0 * uniform() - 1.0;
        y = 2.0 * uniform() - 1.0;
        square = x * x + y * y;
    } while (square >= 1.0 || square == 0.0);
    const double factor = std::sqrt(-2.0 * std::log(square) / square);
    spare_ = y * factor;
    spare_ready_ = true;
    return x * factor;
}

std::uint64_t Random::poisson(double mean) {
    if (!(mean > 0.0)) return 0;
    if (mean < 30.0) return invert_poisson(mean, uniform());
    constexpr double normal_above = 1e12;  // the skewness, 1e-6, is lost in rounding
    if (mean > normal_above) {
        const double drawn = std::round(gaussian(mean, std::sqrt(mean)));
        return drawn < 0x1.0p63 ? static_cast<std::uint64_t>(drawn) : std::uint64_t{1} << 63U;
    }
    // Transformed rejection with squeeze (Hörmann 1993, Insurance: Mathematics and Economics 12, 39).
    const double root = std::sqrt(mean);
    const double b = 0.931 + 2.53 * root;
    const double a = -0.059 + 0.02483 * b;
    const double inverse_alpha = 1.1239 + 1.1328 / (b - 3.4);
    const double squeeze = 0.9277 - 3.6224 / (b - 2.0);
    for (;;) {
        const double u = uniform() - 0.5;
        const double v = uniform();
        const double us = 0.5 - std::abs(u);
        const double k = std::floor((2.0 * a / us + b) * u + mean + 0.43);
        if (us >= 0.07 && v <= squeeze) return static_cast<std::uint64_t>(k);
        if (k < 0.0 || (us < 0.013 && v > us)) continue;
        if (std::log(v) + std::log(inverse_alpha) - std::log(a / (us * us) + b) <=
            k * std::log(mean) - mean - log_factorial(k)) {
            return static_cast<std::uint64_t>(k);
        }
    }
}

}  // namespace emberline::numerics
