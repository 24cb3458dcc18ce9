// SPDX-License-Identifier: MIT
#include "numerics/simplex_search.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace emberline::numerics;

TEST_CASE("the simplex finds the bottom of a curved valley", "[simplex]") {
    // Rosenbrock 1960, The Computer Journal 3, 175: the lowest place is (1, 1), by the formula.
    const Landscape valley = [](std::span<const double> p) {
        return 100.0 * std::pow(p[1] - p[0] * p[0], 2) + std::pow(1.0 - p[0], 2);
    };
    const auto found = simplex_search(
        valley, {-1.2, 1.0}, {.first_step = 0.5, .level = 1e-12, .size = 1e-5, .most_evaluations = 2000});
    CHECK(found.settled);
    CHECK(found.place[0] == Approx(1.0).margin(1e-4));
    CHECK(found.place[1] == Approx(1.0).margin(1e-4));
    CHECK(found.value < 1e-8);
    CHECK(found.evaluations < 400);
}

TEST_CASE("what is no number is a wall, and a search without end is ended", "[simplex]") {
    const Landscape half = [](std::span<const double> p) {
        return p[0] > 0.0 ? p[0] - std::log(p[0]) : std::nan("");
    };
    const auto found = simplex_search(half, {3.0}, {.first_step = 1.0, .level = 1e-10, .size = 1e-4});
    CHECK(found.settled);
    CHECK(found.place[0] == Approx(1.0).margin(1e-3));
    const Landscape slope = [](std::span<const double> p) { return p[0] + p[1]; };
    const auto endless = simplex_search(slope, {0.0, 0.0}, {.most_evaluations = 50});
    CHECK_FALSE(endless.settled);
    CHECK(endless.evaluations <= 53);
}

TEST_CASE("curvature is that of a quadratic form", "[simplex]") {
    const Landscape bowl = [](std::span<const double> p) {
        return 2.0 * p[0] * p[0] - 3.0 * p[0] * p[1] + 4.0 * p[1] * p[1] + p[0];
    };
    const std::vector<double> place{0.7, -0.2};
    const Matrix second = curvature(bowl, place, 0.1);
    CHECK(second(0, 0) == Approx(4.0).epsilon(1e-9));
    CHECK(second(0, 1) == Approx(-3.0).epsilon(1e-9));
    CHECK(second(1, 0) == second(0, 1));
    CHECK(second(1, 1) == Approx(8.0).epsilon(1e-9));
}
