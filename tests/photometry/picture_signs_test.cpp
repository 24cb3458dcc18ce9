// SPDX-License-Identifier: MIT
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "numerics/random.hpp"
#include "photometry/brightness_trend.hpp"
#include "photometry/dark_ring.hpp"
#include "photometry/level_histogram.hpp"
#include "photometry/sky_texture.hpp"

using namespace emberline;
using namespace emberline::photometry;

namespace {

constexpr double sky_adu = 500.0, scatter_adu = 20.0, peak_adu = 20000.0, sigma_px = 1.3;
constexpr double fwhm_px = 2.355 * sigma_px;
constexpr Annulus annulus{12.0, 25.0};
constexpr int side_px = 61;

struct Field {
    std::vector<frame::Cutout> cutouts;
    std::vector<TexturePlace> places;
};

// Ten stars; `ring` of a star's height below the sky at two FWHM; sky pixels become the mean of so many rows.
Field field_of(double ring, int rows) {
    numerics::Random random(20240318);
    Field field;
    for (int n = 0; n < 10; ++n) {
        frame::Cutout c{{0, 0, side_px, side_px}, std::vector<float>(side_px * side_px)};
        std::vector<double> noise(static_cast<std::size_t>(side_px * (side_px + rows)));
        for (double& v : noise)
            v = random.gaussian(0.0, scatter_adu);
        const double cx = 30.0 + random.uniform(-0.5, 0.5), cy = 30.0 + random.uniform(-0.5, 0.5);
        for (int y = 0; y < side_px; ++y) {
            for (int x = 0; x < side_px; ++x) {
                double mean = 0.0;
                for (int r = 0; r < rows; ++r)
                    mean += noise[static_cast<std::size_t>((y + r) * side_px + x)] / rows;
                const double r2 = (x - cx) * (x - cx) + (y - cy) * (y - cy);
                const double far = (std::sqrt(r2) - 2.0 * fwhm_px) / (0.4 * fwhm_px);
                const double light = peak_adu * (std::exp(-0.5 * r2 / (sigma_px * sigma_px)) -
                                                 ring * std::exp(-0.5 * far * far));
                c.at(x, y) = static_cast<float>(std::round(sky_adu + mean + light));
            }
        }
        field.cutouts.push_back(std::move(c));
        const auto sky = estimate_sky(field.cutouts.back(), {cx, cy}, annulus);
        REQUIRE(sky);
        field.places.push_back({nullptr, {cx, cy}, annulus, *sky, true});
    }
    for (std::size_t i = 0; i < field.places.size(); ++i)
        field.places[i].cutout = &field.cutouts[i];
    return field;
}

std::vector<TrendPoint> line_of(double slope, std::size_t n, double scatter) {
    numerics::Random random(20240319);
    std::vector<TrendPoint> points;
    for (std::size_t i = 0; i < n; ++i) {
        const double x = 11.0 + 4.0 * static_cast<double>(i) / static_cast<double>(n - 1);
        points.push_back({x, slope * x + random.gaussian(0.0, scatter), 0.03});
    }
    return points;
}

}  // namespace

TEST_CASE("a trend is found, and one star does not make one", "[picture_signs]") {
    const auto even = brightness_trend(line_of(1.0, 10, 0.03), 1.0, 0.05);
    REQUIRE(even);
    CHECK(std::abs(even->significance) < 3.0);
    CHECK(even->slope == Approx(1.0).margin(4.0 * even->slope_err));
    CHECK(even->range == Approx(4.0));
    const auto bent = brightness_trend(line_of(0.7, 10, 0.03), 1.0, 0.05);
    REQUIRE(bent);
    CHECK(bent->significance < -5.0);
    CHECK(bent->slope == Approx(0.7).margin(0.05));
    // The brightest star of six off by two magnitudes, and of ten.
    for (const std::size_t n : {6U, 10U}) {
        auto points = line_of(1.0, n, 0.03);
        points.front().y += 2.0;
        const auto odd = brightness_trend(points, 1.0, 0.05);
        REQUIRE(odd);
        CHECK(std::abs(odd->significance) < 3.0);
    }
    CHECK_FALSE(brightness_trend(line_of(0.5, 3, 0.0), 1.0, 0.05));
    CHECK_FALSE(brightness_trend(std::vector<TrendPoint>(5, {12.0, 12.0, 0.1}), 1.0, 0.05));
    CHECK_FALSE(brightness_trend({}, 1.0, 0.05));
}

TEST_CASE("a ring below the sky is found at its radius, and none where there is none", "[picture_signs]") {
    const Field plain = field_of(0.0, 1), dug = field_of(0.01, 1);
    const DarkRing none = find_dark_ring(plain.places, fwhm_px), ring = find_dark_ring(dug.places, fwhm_px);
    CHECK(none.depth < 4.0 * none.depth_err + 1e-9);
    CHECK(none.share < 0.2);
    CHECK(ring.stars == 10);
    CHECK(ring.depth == Approx(0.009).margin(0.002));  // 0.01 at its deepest, less as the mean over a bin
    CHECK(ring.radius_px == Approx(2.0 * fwhm_px).margin(0.3 * fwhm_px));
    CHECK(ring.share == 1.0);
    CHECK(find_dark_ring({}, fwhm_px).stars == 0);
}

TEST_CASE("white noise differs alike at all distances, smooth noise by the square of them",
          "[picture_signs]") {
    const Field plain = field_of(0.0, 1), smooth = field_of(0.0, 6);
    const SkyTexture white = sky_texture(plain.places, fwhm_px, 1.0, 0.0);
    CHECK(white.skies == 10);
    CHECK(white.sky_ratio == Approx(1.0).margin(0.05));
    CHECK(white.lag_correlation == Approx(0.0).margin(0.05));
    CHECK(white.tail_ratio == Approx(0.410).margin(0.03));  // 0.674/1.645, of a Gaussian's quantiles
    CHECK(std::abs(white.ties) < 0.01);
    // A Gaussian star: (1 − exp(−1/4σ²)) / (1 − exp(−1/σ²)) = 0.31, were it not cut off at two FWHM.
    CHECK(white.star_ratio == Approx(0.308).margin(0.04));
    CHECK(white.star_ratio < white.sky_ratio);
    // Mean of 6 rows: independent along rows, 1/6 and 2/6 of the variance apart along columns.
    const SkyTexture even = sky_texture(smooth.places, fwhm_px, 1.0, 0.0);
    CHECK(even.sky_ratio == Approx((1.0 + 1.0 / 6.0) / (1.0 + 2.0 / 6.0)).margin(0.05));
    CHECK(even.lag_correlation == Approx(0.5 * 5.0 / 6.0).margin(0.05));
}

TEST_CASE("levels: steps, gaps and a cut at the bottom", "[picture_signs]") {
    numerics::Random random(20240320);
    std::vector<float> sky;
    for (int i = 0; i < 6000; ++i)
        sky.push_back(static_cast<float>(std::round(random.gaussian(sky_adu, scatter_adu))));
    const std::vector<float> star{20000.0F};
    const LevelHistogram plain = level_histogram(sky, star, scatter_adu);
    CHECK(plain.step == 1.0);
    CHECK(plain.used > 0.9);
    CHECK(plain.highest == 20000.0);
    CHECK(plain.at_lowest < 0.001);

    std::vector<float> wide, spread, cut;
    for (const float v : sky) {
        wide.push_back(257.0F * std::round((v - 300.0F) / 10.0F));
        spread.push_back(std::round(3.7F * v));
        cut.push_back(std::max(v, 490.0F));
    }
    const LevelHistogram bytes = level_histogram(wide, std::vector<float>{65535.0F}, 257.0 * 2.0);
    CHECK(bytes.step == 257.0);
    CHECK(bytes.levels == Approx(256.0));
    CHECK(level_histogram(spread, star, 3.7 * scatter_adu).used == Approx(1.0 / 3.7).margin(0.05));
    const LevelHistogram black = level_histogram(cut, star, scatter_adu);
    CHECK(black.lowest == 490.0);
    CHECK(black.at_lowest > 5.0 * black.at_lowest_expected);
    CHECK(level_histogram({}, {}, 1.0).pixels == 0);
    CHECK(level_histogram({std::nanf(""), 3.0F}, {}, 0.0).pixels == 1);
}
