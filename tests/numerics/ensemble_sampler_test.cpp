// SPDX-License-Identifier: MIT
#include "numerics/ensemble_sampler.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <vector>

using namespace emberline;
using namespace emberline::numerics;

namespace {

constexpr double impossible = -std::numeric_limits<double>::infinity();

Matrix widths(std::initializer_list<double> values) {
    Matrix spread(values.size(), values.size());
    std::size_t j = 0;
    for (const double v : values)
        spread(j, j) = v, ++j;
    return spread;
}

Chain sampled(const LogDensity& density, const std::vector<double>& start, const Matrix& spread,
              const SamplerOptions& options = {}, std::uint64_t seed = 1) {
    const auto chain = sample_ensemble(density, start, spread, Random(seed), options);
    INFO((chain ? std::string() : one_line(chain.error())));
    REQUIRE(chain);
    return *chain;
}

double mean(const Chain& chain, std::size_t j) {
    double sum = 0.0;
    for (std::size_t i = 0; i < chain.samples.rows(); ++i)
        sum += chain.samples(i, j);
    return sum / static_cast<double>(chain.samples.rows());
}

double covariance(const Chain& chain, std::size_t j, std::size_t k) {
    const double a = mean(chain, j), b = mean(chain, k);
    double sum = 0.0;
    for (std::size_t i = 0; i < chain.samples.rows(); ++i)
        sum += (chain.samples(i, j) - a) * (chain.samples(i, k) - b);
    return sum / static_cast<double>(chain.samples.rows() - 1);
}

// x(t+1) = ρ x(t) + noise: its autocorrelation is ρ^k, whose integral is (1 + ρ) / (1 − ρ).
Matrix autoregressive(std::size_t walkers, std::size_t steps, double rho, Random random) {
    Matrix chains(walkers, steps);
    for (std::size_t w = 0; w < walkers; ++w) {
        double x = random.gaussian();
        for (std::size_t i = 0; i < steps; ++i) {
            chains(w, i) = x;
            x = rho * x + std::sqrt(1.0 - rho * rho) * random.gaussian();
        }
    }
    return chains;
}

}  // namespace

TEST_CASE("A correlated Gaussian in five dimensions: means, covariance, healthy acceptance", "[sampler]") {
    // C = A Aᵀ with A lower-triangular; widths from 0.01 to 100, which an affine-invariant sampler must not
    // notice.
    constexpr std::size_t p = 5;
    const std::vector<double> truth{1.0, -200.0, 0.3, 15.0, 2.0};
    Matrix a(p, p), c(p, p);
    const std::vector<double> sizes{0.01, 100.0, 1.0, 0.1, 10.0};
    for (std::size_t i = 0; i < p; ++i) {
        for (std::size_t j = 0; j <= i; ++j)
            a(i, j) = sizes[i] * (i == j ? 1.0 : 0.6);
    }
    for (std::size_t i = 0; i < p; ++i) {
        for (std::size_t j = 0; j < p; ++j) {
            for (std::size_t k = 0; k < p; ++k)
                c(i, j) += a(i, k) * a(j, k);
        }
    }
    const LogDensity density = [&](std::span<const double> x) {
        std::vector<double> off(p);
        for (std::size_t j = 0; j < p; ++j)
            off[j] = x[j] - truth[j];
        const auto solved = solve_cholesky(a, off);
        double sum = 0.0;
        for (std::size_t j = 0; j < p; ++j)
            sum += off[j] * solved[j];
        return -0.5 * sum;
    };
    // Started too narrow and beside the middle: the burn-in has to mend it.
    std::vector<double> start = truth;
    Matrix spread(p, p);
    for (std::size_t j = 0; j < p; ++j) {
        start[j] += sizes[j];
        spread(j, j) = 0.3 * sizes[j];
    }
    const Chain chain = sampled(density, start, spread, {.walkers = 40, .steps = 6000, .burn_in = 1000});
    INFO(chain.diagnosis.summary);
    CHECK(chain.diagnosis.converged);
    CHECK(chain.diagnosis.acceptance > 0.3);
    CHECK(chain.diagnosis.acceptance < 0.7);
    for (std::size_t j = 0; j < p; ++j) {
        const double sigma = std::sqrt(c(j, j)), n = chain.diagnosis.effective_samples[j];
        INFO(j << ": τ " << chain.diagnosis.autocorrelation_steps[j] << ", R̂ "
               << chain.diagnosis.split_r_hat[j]);
        CHECK(std::abs(mean(chain, j) - truth[j]) < 4.0 * sigma / std::sqrt(n));
        for (std::size_t k = 0; k < p; ++k) {
            // A covariance of n Gaussian values is known to √((C_jk² + C_jj C_kk) / n); squares are
            // correlated over shorter times than the values, so that this is on the safe side.
            const double known = std::sqrt((c(j, k) * c(j, k) + c(j, j) * c(k, k)) / n);
            CHECK(std::abs(covariance(chain, j, k) - c(j, k)) < 4.0 * known);
        }
    }
}

TEST_CASE("What the diagnosis says of the mean's error is how far means of other seeds lie", "[sampler]") {
    const LogDensity density = [](std::span<const double> x) { return -0.5 * (x[0] * x[0] + x[1] * x[1]); };
    double pulls2 = 0.0;
    constexpr int seeds = 60;
    for (int seed = 0; seed < seeds; ++seed) {
        const Chain chain = sampled(density, {0.0, 0.0}, widths({1.0, 1.0}), {.steps = 3000, .burn_in = 300},
                                    static_cast<std::uint64_t>(seed) + 10);
        CHECK(chain.diagnosis.converged);
        for (const std::size_t j : {0U, 1U})
            pulls2 += std::pow(mean(chain, j), 2) * chain.diagnosis.effective_samples[j];
    }
    // 120 squares with mean 1: known to 0.13.
    CHECK(pulls2 / (2 * seeds) == Approx(1.0).margin(0.4));
}

TEST_CASE("A banana: moments of a density that no Gaussian describes", "[sampler]") {
    // x Gaussian of width 1, y Gaussian of width 0.5 about x²: mean of y is 1, variance 2 + 0.25, covariance
    // of x and y 0, all by the moments of a Gaussian.
    const LogDensity density = [](std::span<const double> x) {
        const double off = (x[1] - x[0] * x[0]) / 0.5;
        return -0.5 * (x[0] * x[0] + off * off);
    };
    const Chain chain =
        sampled(density, {0.5, 0.5}, widths({0.5, 0.5}), {.walkers = 40, .steps = 8000, .burn_in = 1000});
    INFO(chain.diagnosis.summary);
    CHECK(chain.diagnosis.converged);
    const double n = chain.diagnosis.effective_samples[1];
    CHECK(mean(chain, 0) == Approx(0.0).margin(4.0 / std::sqrt(n)));
    CHECK(mean(chain, 1) == Approx(1.0).margin(4.0 * 1.5 / std::sqrt(n)));
    // χ²₁ has a kurtosis of 15: the variance of the variance is 14 times its square at most.
    CHECK(covariance(chain, 1, 1) == Approx(2.25).margin(4.0 * 2.25 * std::sqrt(14.0 / n)));
    CHECK(covariance(chain, 0, 0) == Approx(1.0).margin(0.15));
}

TEST_CASE("A bounded density: no sample outside, and the mean that the bound makes", "[sampler]") {
    // x > 0 with e^−x: mean 1, variance 1. y between 0 and 1, flat: mean 1/2, variance 1/12.
    const LogDensity density = [](std::span<const double> x) {
        if (!(x[0] > 0.0) || !(x[1] > 0.0) || !(x[1] < 1.0)) return impossible;
        return -x[0];
    };
    const Chain chain = sampled(density, {0.2, 0.9}, widths({1.0, 1.0}), {.steps = 6000, .burn_in = 500});
    CHECK(chain.diagnosis.converged);
    for (std::size_t i = 0; i < chain.samples.rows(); ++i)
        REQUIRE((chain.samples(i, 0) > 0.0 && chain.samples(i, 1) > 0.0 && chain.samples(i, 1) < 1.0));
    CHECK(mean(chain, 0) == Approx(1.0).margin(4.0 / std::sqrt(chain.diagnosis.effective_samples[0])));
    CHECK(mean(chain, 1) == Approx(0.5).margin(4.0 * 0.29 / std::sqrt(chain.diagnosis.effective_samples[1])));
    CHECK(covariance(chain, 1, 1) == Approx(1.0 / 12.0).epsilon(0.1));
    // A density that is no number is one that is impossible.
    const LogDensity no_number = [](std::span<const double> x) {
        return x[0] > 0.0 ? -x[0] : std::numeric_limits<double>::quiet_NaN();
    };
    const Chain same = sampled(no_number, {0.5}, widths({0.5}), {.steps = 3000});
    CHECK(mean(same, 0) == Approx(1.0).margin(0.1));
}

TEST_CASE("The same seed gives the same chain, whatever the threads; another seed another", "[sampler]") {
    const LogDensity density = [](std::span<const double> x) { return -0.5 * (x[0] * x[0] + x[1] * x[1]); };
    const SamplerOptions one{.steps = 200, .burn_in = 50};
    SamplerOptions three = one;
    three.threads = 3;
    const Chain a = sampled(density, {0.0, 0.0}, widths({1.0, 1.0}), one);
    const Chain b = sampled(density, {0.0, 0.0}, widths({1.0, 1.0}), three);
    CHECK(a.samples == b.samples);
    CHECK(a.log_density == b.log_density);
    CHECK(a.walkers == 16);
    CHECK(a.samples.rows() == 150 * 16);
    CHECK(a.log_density[77] == density(std::vector<double>{a.samples(77, 0), a.samples(77, 1)}));
    CHECK_FALSE(a.samples == sampled(density, {0.0, 0.0}, widths({1.0, 1.0}), one, 2).samples);
}

TEST_CASE("Two modes far apart, and chains that are too short, are told", "[sampler]") {
    // Two islands of 0.1 at ±10 in both directions: no move along a line between walkers of one hits the
    // other.
    const LogDensity islands = [](std::span<const double> x) {
        const auto island = [&](double at) {
            return -0.5 * (std::pow((x[0] - at) / 0.1, 2) + std::pow((x[1] - at) / 0.1, 2) +
                           std::pow((x[2] - at) / 0.1, 2));
        };
        return std::max(island(-10.0), island(10.0));
    };
    const Chain apart = sampled(islands, {0.0, 0.0, 0.0}, widths({10.0, 10.0, 10.0}),
                                {.walkers = 40, .steps = 3000, .burn_in = 1000});
    INFO(apart.diagnosis.summary);
    CHECK_FALSE(apart.diagnosis.converged);
    CHECK(apart.diagnosis.split_r_hat[0] > 2.0);
    CHECK_THAT(apart.diagnosis.summary, Catch::StartsWith("not converged"));

    const LogDensity round = [](std::span<const double> x) { return -0.5 * (x[0] * x[0] + x[1] * x[1]); };
    const Chain brief = sampled(round, {0.0, 0.0}, widths({1.0, 1.0}), {.steps = 150, .burn_in = 50});
    CHECK_FALSE(brief.diagnosis.converged);
    // A start from far away with no burn-in: the first half does not agree with the second.
    const Chain drifting = sampled(round, {60.0, 60.0}, widths({0.1, 0.1}), {.steps = 100, .burn_in = 0});
    CHECK_FALSE(drifting.diagnosis.converged);
    CHECK(drifting.diagnosis.split_r_hat[0] > most_split_r_hat);
    const Chain enough = sampled(round, {0.0, 0.0}, widths({1.0, 1.0}));
    CHECK(enough.diagnosis.converged);
    CHECK_THAT(enough.diagnosis.summary,
               Catch::StartsWith("converged: ") && Catch::Contains("independent samples, R̂ 1.0"));
}

TEST_CASE("A chain that is too short goes on until it has converged, with a longer burn-in", "[sampler]") {
    const LogDensity round = [](std::span<const double> x) { return -0.5 * (x[0] * x[0] + x[1] * x[1]); };
    const Chain chain =
        sampled(round, {20.0, 20.0}, widths({0.1, 0.1}), {.steps = 100, .burn_in = 20, .most_steps = 10000});
    INFO(chain.diagnosis.summary);
    CHECK(chain.diagnosis.converged);
    // 100 · 2^k steps, of which a fifth is burn-in.
    const std::size_t steps = chain.samples.rows() / chain.walkers;
    CHECK(steps >= 640);
    CHECK(steps % 80 == 0);
    CHECK(chain.log_density.size() == chain.samples.rows());
    CHECK(std::abs(mean(chain, 0)) < 4.0 / std::sqrt(chain.diagnosis.effective_samples[0]));
    const Chain stopped =
        sampled(round, {20.0, 20.0}, widths({0.1, 0.1}), {.steps = 100, .burn_in = 20, .most_steps = 399});
    CHECK_FALSE(stopped.diagnosis.converged);
    CHECK(stopped.samples.rows() == 160 * stopped.walkers);
}

TEST_CASE("The autocorrelation time of an autoregressive series is (1 + ρ) / (1 − ρ)", "[sampler]") {
    for (const double rho : {0.0, 0.5, 0.9, 0.97}) {
        const auto time = integrated_autocorrelation(autoregressive(20, 5000, rho, Random(11)));
        INFO("ρ " << rho);
        CHECK(time.resolved);
        // A window of 5 τ leaves out e^−10 of it. The estimate is known to √(2 (2·5 + 1) τ / N) of itself
        // (Sokal 1997): 6 % for τ 66 and 10⁵ values. 10⁵ values: three of these.
        const double truth = (1.0 + rho) / (1.0 - rho);
        CHECK(time.steps == Approx(truth).epsilon(3.0 * std::sqrt(22.0 * truth / 100000.0)));
    }
    CHECK(split_r_hat(autoregressive(20, 5000, 0.5, Random(12))) == Approx(1.0).margin(0.002));
    const auto brief = integrated_autocorrelation(autoregressive(20, 100, 0.97, Random(13)));
    CHECK_FALSE(brief.resolved);
    CHECK_FALSE(integrated_autocorrelation(Matrix(3, 50)).resolved);
    CHECK(split_r_hat(Matrix(3, 50)) == 1.0);
    Matrix standing(2, 50);
    for (std::size_t i = 0; i < 50; ++i)
        standing(1, i) = 1.0;
    CHECK(std::isinf(split_r_hat(standing)));
}

TEST_CASE("R̂ by its definition, on chains small enough for paper", "[sampler]") {
    // Chains 0 1 | 2 3 and 1 2 | 3 4: halves with means 0.5, 2.5, 1.5, 3.5 and variance 1/2 each. Variance of
    // the means 5/3; R̂² = (n − 1)/n + (5/3)/(1/2) = 1/2 + 10/3 with n = 2.
    Matrix chains(2, 4);
    for (std::size_t i = 0; i < 4; ++i) {
        chains(0, i) = static_cast<double>(i);
        chains(1, i) = static_cast<double>(i) + 1.0;
    }
    CHECK(split_r_hat(chains) == Approx(std::sqrt(0.5 + 10.0 / 3.0)).epsilon(1e-12));
}

TEST_CASE("What cannot be sampled is refused", "[sampler]") {
    const LogDensity flat = [](std::span<const double> x) { return x[0] > 0.0 ? -x[0] : impossible; };
    const auto refusal = [&](const std::vector<double>& start, const Matrix& spread,
                             const SamplerOptions& options) {
        const auto chain = sample_ensemble(flat, start, spread, Random(1), options);
        REQUIRE_FALSE(chain);
        return one_line(chain.error());
    };
    CHECK_THAT(refusal({-1.0}, widths({1.0}), {}), Catch::Contains("place to start from"));
    CHECK_THAT(refusal({1.0}, widths({0.0}), {}), Catch::Contains("no width"));
    CHECK_THAT(refusal({1.0}, widths({1.0, 1.0}), {}), Catch::Contains("no width"));
    CHECK_THAT(refusal({1.0, 1.0, 1.0}, widths({1.0, 1.0, 1.0}), {.walkers = 4}),
               Catch::Contains("two walkers"));
    CHECK_THAT(refusal({1.0}, widths({1.0}), {.steps = 100, .burn_in = 100}), Catch::Contains("burn-in"));
    CHECK_THAT(refusal({1.0}, widths({1.0}), {.stretch = 1.0}), Catch::Contains("stretch"));
    CHECK_THAT(refusal({}, {}, {}), Catch::Contains("no parameters"));
}
