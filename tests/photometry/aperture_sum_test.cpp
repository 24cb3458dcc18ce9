// SPDX-License-Identifier: MIT
#include "photometry/aperture_sum.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>

#include "expected_table.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::photometry;
using test::SimulatedPlate;
using test::SimulatedSensor;

namespace {

const SimulatedSensor sensor{.gain_e_per_adu = 1.0, .read_noise_e = 5.0, .bias_adu = 0.0};
const float undefined = std::numeric_limits<float>::quiet_NaN();
const std::vector<double> radii{2.0, 4.0, 6.5, 9.0};

SkyEstimate flat_sky(double level) {
    return {.level_adu = level};
}

}  // namespace

TEST_CASE("circles enclose the light that Moffat's closed form gives", "[aperture]") {
    const DelimitedTable table = test::expected_table("photometry/encircled_energy.csv");
    constexpr double fwhm_px = 12.0;
    for (const double beta : {2.5, 3.0, 3.5, 4.765}) {
        SimulatedPlate plate(64, 0.0);
        plate.add({.x = 0.3, .y = -0.4, .flux_e = 1e6, .fwhm_px = fwhm_px, .beta = beta});
        std::vector<double> circles, expected;
        for (const TableRow& row : table.rows) {
            const double r = test::number(table, row, "radius_over_fwhm") * fwhm_px;
            if (r > 60.0) continue;
            circles.push_back(r);
            expected.push_back(test::number(table, row, fmt::format("moffat_beta{:g}", beta)));
        }
        const auto sums = sum_apertures(plate.expected(sensor), {0.3, -0.4}, circles, flat_sky(0.0), {});
        REQUIRE(sums);
        for (std::size_t k = 0; k < circles.size(); ++k) {
            INFO("beta " << beta << ", radius " << circles[k] << " px");
            // Light gathered in a pixel and spread evenly over it: the width² grows by 2/12 px² of about 26.
            CHECK(sums->flux_adu[k] / 1e6 == Approx(expected[k]).epsilon(0.0066));
            CHECK(sums->area_px[k] == Approx(std::numbers::pi * circles[k] * circles[k]).epsilon(1e-12));
            CHECK(sums->caveats[k].empty());
        }
    }
}

TEST_CASE("even light fills a circle by its area, and a plane under it cancels", "[aperture]") {
    SimulatedPlate plate(12, 70.0);
    plate.tilt(1.5, -0.75);
    const frame::PixelPosition at{0.37, -0.21};
    const double level = 70.0 + 1.5 * at.x - 0.75 * at.y;
    const auto cutout = plate.expected(sensor);
    const auto nothing =
        sum_apertures(cutout, at, radii, {.level_adu = level, .slope_x_adu = 1.5, .slope_y_adu = -0.75}, {});
    REQUIRE(nothing);
    const auto all = sum_apertures(cutout, at, radii, flat_sky(0.0), {});
    REQUIRE(all);
    for (std::size_t k = 0; k < radii.size(); ++k) {
        const double area = std::numbers::pi * radii[k] * radii[k];
        CHECK(nothing->flux_adu[k] == Approx(0.0).margin(1e-5 * area));  // float pixels
        // Cut pixels are even inside: the plane's part in them is off by less than a pixel's rim share.
        CHECK(all->flux_adu[k] == Approx(area * level).epsilon(2e-3));
    }
}

TEST_CASE("undefined pixels are filled from pixels as far out, until a tenth is missing", "[aperture]") {
    SimulatedPlate plate(14, 0.0);
    plate.add({.x = 0.1, .y = 0.2, .flux_e = 1e5, .fwhm_px = 4.0});
    const auto cutout = plate.expected(sensor);
    const auto whole = sum_apertures(cutout, {0.1, 0.2}, radii, flat_sky(0.0), {});
    REQUIRE(whole);
    auto holed = cutout;
    holed.at(2, 1) = holed.at(-3, 2) = holed.at(5, 5) = undefined;
    const auto filled = sum_apertures(holed, {0.1, 0.2}, radii, flat_sky(0.0), {});
    REQUIRE(filled);
    CHECK(std::isnan(filled->flux_adu[0]) == false);
    for (std::size_t k = 1; k < radii.size(); ++k) {
        // The pixel at (2, 1) alone has 2 % of the light; its fellows at its distance differ by a third.
        CHECK(filled->flux_adu[k] == Approx(whole->flux_adu[k]).epsilon(0.006));
        CHECK(filled->area_px[k] == Approx(whole->area_px[k]));
        CHECK(filled->caveats[k].has(Caveat::bad_pixels));
    }
    auto row = cutout;
    for (int x = -14; x <= 14; ++x)
        row.at(x, 0) = undefined;
    const auto striped = sum_apertures(row, {0.1, 0.2}, radii, flat_sky(0.0), {});
    REQUIRE(striped);
    CHECK(std::isnan(striped->flux_adu[0]));     // 4 of 12.6 px
    CHECK(std::isnan(striped->flux_adu[1]));     // 8 of 50
    CHECK(std::isfinite(striped->flux_adu[3]));  // 18 of 254
    CHECK(std::isfinite(striped->peak_adu));
}

TEST_CASE("each radius carries its own saturation, linearity and edge", "[aperture]") {
    SimulatedPlate plate(12, 100.0);
    auto cutout = plate.expected(sensor);
    cutout.at(3, 0) = 65535.0F;
    cutout.at(0, 8) = 50000.0F;
    const PixelLimits limits{.saturation_adu = 65000.0, .linear_to_adu = 40000.0};
    const auto sums = sum_apertures(cutout, {0.0, 0.0}, radii, flat_sky(100.0), limits);
    REQUIRE(sums);
    CHECK(sums->peak_adu == 100.0);
    CHECK(sums->caveats[0].empty());
    CHECK(sums->caveats[1].has(Caveat::saturated));
    CHECK(sums->caveats[1].has(Caveat::not_linear));
    cutout.at(3, 0) = 100.0F;
    const auto bent = sum_apertures(cutout, {0.0, 0.0}, radii, flat_sky(100.0), limits);
    REQUIRE(bent);
    CHECK(bent->caveats[2].empty());
    CHECK(bent->caveats[3].has(Caveat::not_linear));
    CHECK_FALSE(bent->caveats[3].has(Caveat::saturated));
    const auto near_edge = sum_apertures(cutout, {7.0, 0.0}, radii, flat_sky(100.0), limits);
    REQUIRE(near_edge);
    CHECK_FALSE(near_edge->caveats[1].has(Caveat::edge));
    CHECK(near_edge->caveats[2].has(Caveat::edge));
    CHECK(near_edge->area_px[2] < std::numbers::pi * radii[2] * radii[2]);
    // A radius of 2.4 px leaves the pixel at 3 px alone: its near edge is at 2.5.
    cutout.at(3, 0) = 65535.0F;
    const std::vector<double> closely{2.4, 2.6};
    const auto close = sum_apertures(cutout, {0.0, 0.0}, closely, flat_sky(100.0), limits);
    REQUIRE(close);
    CHECK(close->caveats[0].empty());
    CHECK(close->caveats[1].has(Caveat::saturated));
}

TEST_CASE("apertures that make no sense are refused", "[aperture]") {
    const auto cutout = SimulatedPlate(12, 100.0).expected(sensor);
    const auto refused = [&](const frame::PixelPosition& at, const std::vector<double>& circles) {
        return !sum_apertures(cutout, at, circles, flat_sky(100.0), {});
    };
    const double nan = std::nan(""), inf = std::numeric_limits<double>::infinity();
    CHECK(refused({0.0, 0.0}, {}));
    CHECK(refused({0.0, 0.0}, {0.0, 3.0}));
    CHECK(refused({0.0, 0.0}, {3.0, 2.0}));
    CHECK(refused({0.0, 0.0}, {nan}));
    CHECK(refused({0.0, 0.0}, {3.0, inf}));
    CHECK(refused({13.0, 0.0}, {3.0}));
    CHECK(refused({nan, 0.0}, {3.0}));
    CHECK(refused({1e300, 0.0}, {3.0}));
    CHECK_FALSE(sum_apertures({}, {0.0, 0.0}, radii, flat_sky(0.0), {}));
    auto nothing = cutout;
    for (float& v : nothing.adu)
        v = undefined;
    CHECK_FALSE(sum_apertures(nothing, {0.0, 0.0}, radii, flat_sky(0.0), {}));
    CHECK(sum_apertures(cutout, {0.0, 0.0}, std::vector<double>{1e9}, flat_sky(0.0), {}));
}
