// SPDX-License-Identifier: MIT
#include "photometry/circle_pixel.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "expected_table.hpp"
#include "photometry/noise.hpp"

using namespace emberline;
using namespace emberline::photometry;
using test::number;
using test::text;

TEST_CASE("the shared area agrees with the 50-digit table", "[circle-pixel]") {
    const DelimitedTable table = test::expected_table("photometry/circle_pixel.csv");
    for (const TableRow& row : table.rows) {
        INFO(text(table, row, "case"));
        const double x = number(table, row, "pixel_x") - number(table, row, "centre_x");
        const double y = number(table, row, "pixel_y") - number(table, row, "centre_y");
        const double area = circle_pixel_overlap(x, y, number(table, row, "radius"));
        // px², the accuracy that the header promises.
        CHECK(std::abs(area - number(table, row, "exact_area")) < circle_pixel_accuracy_px2);
    }
}

TEST_CASE("all pixels together share the whole circle", "[circle-pixel]") {
    for (const double r : {0.05, 0.5, 0.7071, 1.0, 3.3, 12.0, 40.25}) {
        for (const double x : {0.0, 0.5, 0.31, -0.47}) {
            const int reach = static_cast<int>(r) + 2;
            double sum = 0.0;
            for (int j = -reach; j <= reach; ++j) {
                for (int i = -reach; i <= reach; ++i)
                    sum += circle_pixel_overlap(i - x, j + 0.2 * x, r);
            }
            INFO("radius " << r << ", offset " << x);
            // Relative; the rounding of a few hundred edge pixels.
            CHECK(sum == Approx(std::numbers::pi * r * r).epsilon(1e-13));
        }
    }
}

TEST_CASE("a circle without size shares nothing, and an unknown one is not a number", "[circle-pixel]") {
    CHECK(circle_pixel_overlap(0.0, 0.0, 0.0) == 0.0);
    CHECK(circle_pixel_overlap(0.0, 0.0, -1.0) == 0.0);
    CHECK(std::isnan(circle_pixel_overlap(0.0, 0.0, std::nan(""))));
}

TEST_CASE("the squares of the pixels' shares sum to what the noise of a circle takes",
          "[circle-pixel][noise]") {
    // Exact overlaps about centres all over a pixel, against the closed form of the edge.
    for (const double radius : {1.2, 1.6, 2.5, 5.0, 15.0}) {
        INFO("radius " << radius << " px");
        double mean = 0.0;
        constexpr int steps = 12;
        const int reach = static_cast<int>(radius) + 2;
        for (int i = 0; i < steps * steps; ++i) {
            const double cx = (i % steps + 0.5) / steps - 0.5, cy = (i / steps + 0.5) / steps - 0.5;
            for (int y = -reach; y <= reach; ++y) {
                for (int x = -reach; x <= reach; ++x)
                    mean += std::pow(circle_pixel_overlap(x - cx, y - cy, radius), 2) / (steps * steps);
            }
        }
        const double area = std::acos(-1.0) * radius * radius;
        // Curvature is left out: two per cent of the area at a pixel's radius.
        CHECK(square_area_px(area) == Approx(mean).epsilon(0.02));
    }
}
