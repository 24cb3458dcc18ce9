// SPDX-License-Identifier: MIT
#include "rehearsal/moffat.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "expected_table.hpp"
#include "photometry/circle_pixel.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

LightMap one_star(const PointSpread& spread, const frame::PixelPosition& position, int size) {
    LightMap map(size, size, 0.0);
    Moffat(spread).add_star(map, position, 1.0);
    return map;
}

double total(const LightMap& map) {
    return std::accumulate(map.e.begin(), map.e.end(), 0.0);
}

// An independent slow way: the mean of the closed form over 60 × 60 points of the pixel.
double brute_force(const PointSpread& spread, double dx, double dy) {
    const double alpha = 0.5 * spread.fwhm_px / std::sqrt(std::pow(2.0, 1.0 / spread.moffat_beta) - 1.0);
    const double angle = Angle::degrees(spread.direction_deg).radians();
    const double root = std::sqrt(spread.elongation);
    double sum = 0.0;
    constexpr int n = 60;
    for (int j = 0; j < n; ++j) {
        for (int i = 0; i < n; ++i) {
            const double x = dx + (i + 0.5) / n - 0.5;
            const double y = dy + (j + 0.5) / n - 0.5;
            const double u = (x * std::cos(angle) + y * std::sin(angle)) / (alpha * root);
            const double v = (y * std::cos(angle) - x * std::sin(angle)) * root / alpha;
            sum += std::pow(1.0 + u * u + v * v, -spread.moffat_beta);
        }
    }
    return sum / (n * n) * (spread.moffat_beta - 1.0) / (std::acos(-1.0) * alpha * alpha);
}

}  // namespace

TEST_CASE("a star's pixels hold all its light but the part left out on purpose", "[moffat]") {
    for (const double beta : {2.5, 3.5, 4.765}) {
        for (const double fwhm : {1.4, 2.5, 5.0}) {
            for (const double elongation : {1.0, 1.8}) {
                INFO(beta << " " << fwhm << " " << elongation);
                const LightMap map = one_star({fwhm, beta, elongation, 25.0}, {250.37, 249.81}, 501);
                CHECK(total(map) == Approx(1.0).margin(Moffat::accuracy));
            }
        }
    }
}

TEST_CASE("light inside a circle grows as the closed form says", "[moffat]") {
    const DelimitedTable table = test::expected_table("rehearsal/encircled_energy.csv");
    constexpr double fwhm_px = 24.0;
    for (const auto& [beta, column] :
         {std::pair{2.5, "moffat_beta2.5"}, std::pair{3.0, "moffat_beta3"}, std::pair{3.5, "moffat_beta3.5"},
          std::pair{4.765, "moffat_beta4.765"}}) {
        const frame::PixelPosition centre{250.3, 249.6};
        const LightMap map = one_star({fwhm_px, beta}, centre, 501);
        for (const TableRow& row : table.rows) {
            const double radius_px = fwhm_px * test::number(table, row, "radius_over_fwhm");
            const int reach = static_cast<int>(radius_px) + 2;
            double inside = 0.0;
            for (int y = std::max(0, 250 - reach); y <= std::min(500, 250 + reach); ++y) {
                for (int x = std::max(0, 250 - reach); x <= std::min(500, 250 + reach); ++x)
                    inside += map.e[map.index(x, y)] *
                              photometry::circle_pixel_overlap(x - centre.x, y - centre.y, radius_px);
            }
            INFO(beta << " " << radius_px);
            // Pixels blur the image by the variance of a square, twice: (1/6)/(24 px)² of the light on the
            // rim, times a factor near one.
            CHECK(inside == Approx(test::number(table, row, column)).margin(6e-4));
        }
    }
}

TEST_CASE("every pixel holds the integral over its square", "[moffat]") {
    const PointSpread spread{2.5, 3.5, 1.4, 30.0};
    const Moffat moffat(spread);
    double worst = 0.0;
    for (int y = -30; y <= 30; ++y) {
        for (int x = -30; x <= 30; ++x) {
            worst = std::max(
                worst, std::abs(moffat.over_pixel(x + 0.3, y - 0.2) - brute_force(spread, x + 0.3, y - 0.2)));
        }
    }
    // Of the star's light, in any one pixel; the brightest holds a tenth.
    CHECK(worst < 3e-6);
}

TEST_CASE("half the peak lies half a width from the centre, and the long axis where it was asked",
          "[moffat]") {
    const double elongation = 1.5;
    const Moffat moffat({3.0, 3.5, elongation, 40.0});
    const double angle = Angle::degrees(40.0).radians();
    const double half_long = 1.5 * std::sqrt(elongation);
    const double half_short = 1.5 / std::sqrt(elongation);
    const double peak = moffat.density(0.0, 0.0);
    CHECK(moffat.density(half_long * std::cos(angle), half_long * std::sin(angle)) ==
          Approx(0.5 * peak).epsilon(1e-12));
    CHECK(moffat.density(-half_short * std::sin(angle), half_short * std::cos(angle)) ==
          Approx(0.5 * peak).epsilon(1e-12));
}

TEST_CASE("stars off the frame or on its edge harm nothing", "[moffat]") {
    LightMap map(20, 10, 0.0);
    const Moffat moffat({2.5, 3.5});
    moffat.add_star(map, {-500.0, 3.0}, 1.0);
    moffat.add_star(map, {5.0, 1e9}, 1.0);
    moffat.add_star(map, {std::nan(""), 3.0}, 1.0);
    CHECK(total(map) == 0.0);
    moffat.add_star(map, {-0.5, 5.0}, 1.0);
    // The edge cuts it in half, but for what falls over the other three edges.
    CHECK(total(map) == Approx(0.5).margin(0.01));
    CHECK(total(map) < 0.5);
}
