// SPDX-License-Identifier: MIT
#include "numerics/random.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

using namespace emberline;
using numerics::Random;

namespace {

struct Moments {
    double mean = 0.0, variance = 0.0, third = 0.0;  // third: central
};

template <class Draw>
Moments moments(Draw draw, int n) {
    std::vector<double> values(static_cast<std::size_t>(n));
    Moments m;
    for (double& v : values) {
        v = draw();
        m.mean += v / n;
    }
    for (const double v : values) {
        const double d = v - m.mean;
        m.variance += d * d / n;
        m.third += d * d * d / n;
    }
    return m;
}

// Probability of a count, by logarithms: independent of both ways of drawing.
double poisson_probability(double mean, int k) {
    return std::exp(k * std::log(mean) - mean - std::lgamma(k + 1.0));
}

}  // namespace

TEST_CASE("the generator gives the bits of xoshiro256++ seeded by SplitMix64", "[random]") {
    // From an independent implementation with whole numbers of any size, which also gives the published first
    // outputs of SplitMix64 (0xe220a8397b1dcdaf from 0) and of xoshiro256++ (41943041, 58720359 from 1 2 3
    // 4).
    Random zero(0), answer(42), word(0xdeadbeef);
    for (const std::uint64_t expected : {0x53175d61490b23dfULL, 0x61da6f3dc380d507ULL, 0x5c0fdf91ec9a7bfcULL})
        CHECK(zero.bits() == expected);
    for (const std::uint64_t expected : {0xd0764d4f4476689fULL, 0x519e4174576f3791ULL, 0xfbe07cfb0c24ed8cULL})
        CHECK(answer.bits() == expected);
    for (const std::uint64_t expected : {0x0c520eb8fea98edeULL, 0x2b74a6338b80e0e2ULL, 0xbe238770c3795322ULL})
        CHECK(word.bits() == expected);
    for (int i = 4; i < 1000; ++i)
        static_cast<void>(answer.bits());
    CHECK(answer.bits() == 0xa3ed059c1cc38790ULL);
}

TEST_CASE("a stream depends on the seed and its number, not on what was drawn before", "[random]") {
    Random fresh(7), used(7);
    for (int i = 0; i < 11; ++i)
        static_cast<void>(used.gaussian());
    Random a = fresh.stream(3), b = used.stream(3);
    for (int i = 0; i < 5; ++i)
        CHECK(a.bits() == b.bits());
    CHECK(Random(7).stream(3).bits() != Random(7).stream(4).bits());
    CHECK(Random(7).stream(3).bits() != Random(8).stream(3).bits());
    CHECK(Random(7).stream(3).bits() != Random(3).stream(7).bits());
    CHECK(Random(7).stream(0).bits() != Random(7).bits());
    CHECK(Random(7).stream(1).stream(2).bits() != Random(7).stream(2).stream(1).bits());
}

TEST_CASE("neighbouring streams are uncorrelated", "[random]") {
    // 20 000 pairs from each of 50 pairs of streams: a correlation of one million pairs is 0 ± 0.001.
    double sum = 0.0;
    for (std::uint64_t k = 0; k < 50; ++k) {
        Random a = Random(99).stream(k), b = Random(99).stream(k + 1);
        for (int i = 0; i < 20000; ++i)
            sum += (a.uniform() - 0.5) * (b.uniform() - 0.5) * 12.0;
    }
    CHECK(std::abs(sum / 1e6) < 0.004);
    // The first number of 100 000 streams: mean 1/2 ± 0.0009.
    double first = 0.0;
    for (std::uint64_t k = 0; k < 100000; ++k)
        first += Random(99).stream(k).uniform() / 1e5;
    CHECK(std::abs(first - 0.5) < 0.004);
}

TEST_CASE("uniform and Gaussian numbers have their moments", "[random]") {
    Random random(2024);
    double least = 1.0, most = 0.0;
    const Moments flat = moments(
        [&] {
            const double u = random.uniform();
            least = std::min(least, u);
            most = std::max(most, u);
            return u;
        },
        1000000);
    CHECK(least >= 0.0);
    CHECK(most < 1.0);
    // Four standard errors of a million draws each: 4 √(1/12)/1000, 4 √(1/180)/1000.
    CHECK(flat.mean == Approx(0.5).margin(0.0012));
    CHECK(flat.variance == Approx(1.0 / 12.0).margin(0.0003));

    int beyond_two = 0;
    const Moments bell = moments(
        [&] {
            const double g = random.gaussian();
            beyond_two += std::abs(g) > 2.0 ? 1 : 0;
            return g;
        },
        1000000);
    CHECK(bell.mean == Approx(0.0).margin(0.004));
    CHECK(bell.variance == Approx(1.0).margin(0.006));  // 4 √2/1000
    CHECK(bell.third == Approx(0.0).margin(0.016));     // 4 √15/1000
    CHECK(beyond_two / 1e6 == Approx(0.045500263896).margin(0.0009));
}

TEST_CASE("Poisson counts have their mean, variance and skewness on both sides of the change of method",
          "[random]") {
    // Mean, variance and third central moment are all μ. Tolerances are four standard errors of 400 000
    // draws: var of the variance 2μ² + μ, of the third moment about 15 μ³ + 40 μ².
    Random random(1899);
    const int n = 400000;
    for (const double mu : {0.01, 0.7, 3.3, 29.9, 30.0, 31.0, 250.0, 1e5}) {
        INFO("mean " << mu);
        const Moments m = moments([&] { return static_cast<double>(random.poisson(mu)); }, n);
        CHECK(std::abs(m.mean - mu) < 4.0 * std::sqrt(mu / n));
        CHECK(std::abs(m.variance - mu) < 4.0 * std::sqrt((2.0 * mu * mu + mu) / n));
        CHECK(std::abs(m.third - mu) < 4.0 * std::sqrt((15.0 * mu * mu * mu + 40.0 * mu * mu + mu) / n));
    }
}

TEST_CASE("Poisson counts follow their probabilities", "[random]") {
    // Pearson's chi² over every count that is expected at least 20 times: below its mean plus four of its
    // standard deviations.
    Random random(1837);
    const int n = 500000;
    for (const double mu : {2.0, 22.0, 30.5, 80.0}) {
        INFO("mean " << mu);
        std::vector<int> seen(400, 0);
        for (int i = 0; i < n; ++i)
            ++seen[std::min<std::uint64_t>(random.poisson(mu), 399)];
        double chi2 = 0.0;
        int cells = 0;
        for (int k = 0; k < 400; ++k) {
            const double expected = n * poisson_probability(mu, k);
            if (expected < 20.0) continue;
            chi2 += std::pow(seen[static_cast<std::size_t>(k)] - expected, 2) / expected;
            ++cells;
        }
        CHECK(cells > 5);
        CHECK(chi2 < cells + 4.0 * std::sqrt(2.0 * cells));
    }
}

TEST_CASE("impossible and enormous means end at once", "[random]") {
    Random random(5);
    CHECK(random.poisson(0.0) == 0);
    CHECK(random.poisson(-3.0) == 0);
    CHECK(random.poisson(std::nan("")) == 0);
    const double huge = 1e15;
    CHECK(std::abs(static_cast<double>(random.poisson(huge)) - huge) < 6.0 * std::sqrt(huge));
    CHECK(random.poisson(std::numeric_limits<double>::infinity()) > 0);
}
