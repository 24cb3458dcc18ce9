// SPDX-License-Identifier: MIT
// numerics/random — seeded random numbers that are the same on every machine and compiler
// (the standard library's distributions are not).
#pragma once

#include <array>
#include <cstdint>

namespace emberline::numerics {

// xoshiro256++ (Blackman & Vigna 2021, ACM TOMS 47, 36), seeded by SplitMix64.
class Random {
  public:
    explicit Random(std::uint64_t seed);
    // An independent stream for a named part of the work, so that adding one part leaves the others alone.
    [[nodiscard]] Random stream(std::uint64_t number) const;
    std::uint64_t bits();
    double uniform();  // [0, 1)
    double uniform(double low, double high);
    double gaussian();  // mean 0, sigma 1
    double gaussian(double mean, double sigma) { return mean + sigma * gaussian(); }
    // Inversion below a mean of 30, rejection above, a rounded Gaussian above 1e12; 0 for mean <= 0 or NaN.
    std::uint64_t poisson(double mean);

  private:
    std::uint64_t seed_;
    std::array<std::uint64_t, 4> state_{};
    bool spare_ready_ = false;
    double spare_ = 0.0;
};

}  // namespace emberline::numerics
