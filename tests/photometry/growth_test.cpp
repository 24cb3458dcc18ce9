// SPDX-License-Identifier: MIT
#include "photometry/growth.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace emberline::photometry;

TEST_CASE("one star with a neighbour does not move the growth curve", "[growth]") {
    const std::vector<std::vector<double>> stars{
        {500, 900, 1000}, {1010, 1800, 2000}, {1490, 2700, 3000}, {250, 451, 500}, {300, 500, 1000}};
    const GrowthCurve curve = growth_curve(stars, {2, 3, 4, 1, 2});
    REQUIRE(curve.stars == 5);
    REQUIRE(curve.fraction.size() == 3);
    CHECK(curve.fraction[0] == Approx(0.5).margin(0.005));  // the scatter put into the other four
    CHECK(curve.fraction[1] == Approx(0.9).margin(0.002));
    CHECK(curve.fraction[2] == 1.0);
    CHECK(curve.fraction_err[0] > 0.0);
    CHECK(curve.fraction_err[0] < 0.005);
    CHECK(curve.fraction_err[2] == 0.0);
}

TEST_CASE("stars without light at the last radius are left out", "[growth]") {
    CHECK(growth_curve({}, {}).fraction.empty());
    CHECK(growth_curve({{1, 2, 0}, {1, 2, -3}, {1, 2, std::nan("")}}, {1, 1, 1}).stars == 0);
    const GrowthCurve one = growth_curve({{1, 2, -3}, {50, 90, 100}}, {1, 1});
    CHECK(one.stars == 1);
    CHECK(one.fraction == std::vector<double>{0.5, 0.9, 1.0});
}

TEST_CASE("a Gaussian star under sky noise alone is measured best near 0.68 FWHM", "[growth]") {
    // Encircled light 1 − 2^(−4k²) at k FWHM; the optimum k = 0.673 minimises k / (1 − 2^(−4k²)), arithmetic.
    std::vector<ApertureCandidate> candidates;
    for (int step = 1; step <= 60; ++step) {
        const double k = 0.05 * step;
        candidates.push_back({.enclosed = 1.0 - std::exp2(-4.0 * k * k), .background_e2 = 1e8 * k * k});
    }
    const double faint_k = 0.05 * static_cast<double>(best_aperture(candidates, 1000.0) + 1);
    CHECK(faint_k >= 0.65);
    CHECK(faint_k <= 0.80);  // signal-to-noise is 2.3 % below the optimum at 0.80
    CHECK(best_aperture(candidates, -5.0) == best_aperture(candidates, 1.0));
    // A star far brighter than the sky wants all of its light.
    CHECK(best_aperture(candidates, 1e12) == candidates.size() - 1);
    CHECK(best_aperture({}, 1.0) == 0);
}

TEST_CASE("an aperture in which stars scatter beyond their noise gives way to a steadier one", "[growth]") {
    // Relative errors sqrt(500 + 100)/500 = 0.049 and 0.116 from the noise alone: three times 0.049 is worse.
    const std::vector<ApertureCandidate> steady{{0.5, 100.0, 0.0}, {0.9, 10000.0, 0.0}};
    const std::vector<ApertureCandidate> varying{{0.5, 100.0, 0.0, 3.0}, {0.9, 10000.0, 0.0}};
    CHECK(best_aperture(steady, 1000.0) == 0);
    CHECK(best_aperture(varying, 1000.0) == 1);
}
