// SPDX-License-Identifier: MIT
#include "stars/match_odds.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "numerics/random.hpp"

using namespace emberline;
using namespace emberline::stars;

TEST_CASE("the binomial tail is arithmetic", "[match_odds]") {
    // Of four coins at least three show heads: (4 + 1)/16.
    CHECK(std::exp(log_binomial_tail(4, 0.5, 3)) == Approx(5.0 / 16.0).epsilon(1e-12));
    CHECK(log_binomial_tail(10, 0.3, 0) == 0.0);
    CHECK(log_binomial_tail(10, 1.0, 10) == 0.0);
    CHECK(log_binomial_tail(10, 0.3, 11) == -HUGE_VAL);
    CHECK(log_binomial_tail(10, 0.0, 1) == -HUGE_VAL);
    // n p small: C(n, k) pᵏ, the next term smaller by about n p: here 5e-8.
    CHECK(log_binomial_tail(50, 1e-9, 4) == Approx(std::log(230300.0) - 36.0 * std::log(10.0)).margin(1e-6));
    // All but one of 3: 1 − (1 − p)³.
    CHECK(std::exp(log_binomial_tail(3, 0.2, 1)) == Approx(1.0 - 0.512).epsilon(1e-12));
    // Below the mode as well: 1 − P(0) − P(1) for 40 tries of one half, exactly 1 − 41/2⁴⁰.
    CHECK(log_binomial_tail(40, 0.5, 2) == Approx(-41.0 / std::pow(2.0, 40)).margin(1e-14));
}

TEST_CASE("the chance of an improvement is that of the F-test", "[match_odds][outside]") {
    // One-per-cent points of F in any table of it (common practice, no source): F(2, 10) = 7.559,
    // F(6, 20) = 3.871, F(8, 30) = 3.173, F(2, 4) = 18.00. χ² after over before: 1/(1 + F ν₁/ν₂).
    const auto chance = [](double f, int freed, int dof) {
        return chance_of_improvement(1.0 / (1.0 + f * freed / dof), dof, static_cast<std::size_t>(freed / 2));
    };
    CHECK(chance(7.559, 2, 10) == Approx(0.01).epsilon(0.002));  // four figures in the tables
    CHECK(chance(3.871, 6, 20) == Approx(0.01).epsilon(0.002));
    CHECK(chance(3.173, 8, 30) == Approx(0.01).epsilon(0.002));
    CHECK(chance(18.00, 2, 4) == Approx(0.01).epsilon(0.002));
    CHECK(chance_of_improvement(1.0, 10, 3) == 1.0);
    CHECK(chance_of_improvement(0.0, 10, 3) == 0.0);
    CHECK(chance_of_improvement(0.5, 0, 3) == 1.0);
}

TEST_CASE("the odds of one star are its density against the background's", "[match_odds]") {
    // By hand: d + (1 − d) A/(m 2π σ²) exp(−s²/2).
    const double seen = 0.3 + 0.7 * 1e6 / 20.0 / (2.0 * std::numbers::pi * 0.04) * std::exp(-0.5);
    CHECK(log_odds_of({{1.0, 0.2, true}}, 20, 1e6, 0.3) == Approx(std::log(seen)));
    // A star without partner counts against, by the share of false ones.
    CHECK(log_odds_of({{0.0, 0.2, false}}, 20, 1e6, 0.3) == Approx(std::log(0.3)));
    CHECK(log_odds_of({}, 20, 1e6, 0.3) == 0.0);
}

TEST_CASE("stars thrown at random have odds against them, and chance odds of K once in K or less",
          "[match_odds]") {
    // The mean of the likelihood ratio under the background is 1, so that odds of K or more come at most once
    // in K (Markov's inequality).
    numerics::Random random(2010);
    const int fields = 4000;
    int above_ten = 0;
    double sum = 0.0;
    for (int k = 0; k < fields; ++k) {
        std::vector<StarOnFrame> stars;
        for (int i = 0; i < 10; ++i) {
            // One reference in a frame of 10 × 10 px, an error of 0.5 px: far from the edge of it.
            const double x = random.uniform(-5.0, 5.0), y = random.uniform(-5.0, 5.0);
            stars.push_back({(x * x + y * y) / 0.25, 0.5, true});
        }
        const double odds = log_odds_of(stars, 1, 100.0, 0.8);
        sum += odds;
        above_ten += odds > std::log(10.0) ? 1 : 0;
    }
    CHECK(sum < 0.0);
    CHECK(above_ten < fields / 10);
}
