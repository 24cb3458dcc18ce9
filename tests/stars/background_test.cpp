// SPDX-License-Identifier: MIT
#include "stars/background.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "stars/invented_picture.hpp"

using namespace emberline;
using namespace emberline::stars;
using test::add_noise;
using test::add_star;
using test::flat_sky;

TEST_CASE("a flat sky's level and scatter are found, of whole numbers too", "[background]") {
    // Rounding to whole numbers adds a variance of 1/12 (Sheppard 1898, from memory).
    for (const double sigma : {0.8, 1.5, 12.0}) {
        INFO("scatter " << sigma << " ADU");
        numerics::Random random(11);
        frame::Cutout picture = flat_sky(512, 384, 300.3);
        add_noise(picture, sigma, random);
        for (float& v : picture.adu)
            v = std::round(v);
        const auto background = estimate_background(picture);
        REQUIRE(background);
        // A cell's level is known to 0.04 σ from its 1000 pixels; the median of 48 cells to a tenth of that.
        CHECK(background->usual_level() == Approx(300.3).margin(0.03 * sigma));
        CHECK(background->usual_scatter() == Approx(std::sqrt(sigma * sigma + 1.0 / 12.0)).epsilon(0.03));
    }
}

TEST_CASE("a sloping and bent sky is followed between the cells' middles", "[background]") {
    numerics::Random random(12);
    frame::Cutout picture = flat_sky(640, 640, 0.0);
    const auto truth = [](double x, double y) {
        return 1000.0 + 0.2 * x - 0.1 * y + 60.0 * std::sin(x / 200.0) * std::cos(y / 250.0);
    };
    for (int y = 0; y < 640; ++y) {
        for (int x = 0; x < 640; ++x)
            picture.at(x, y) = static_cast<float>(truth(x, y));
    }
    add_noise(picture, 10.0, random);
    const auto background = estimate_background(picture);
    REQUIRE(background);
    for (int y = 64; y < 576; y += 37) {
        for (int x = 64; x < 576; x += 37) {
            INFO(x << ", " << y);
            // The slope over a cell is 13 ADU; the median of nine cells, curved over 192 px, is off by 3.
            CHECK(background->level(x, y) == Approx(truth(x, y)).margin(5.0));
        }
    }
    std::vector<float> level(200), scatter(200);
    background->row(333.0, 12.0, 3.0, 200, level.data(), scatter.data());
    for (std::size_t i = 0; i < level.size(); ++i) {
        const double x = 12.0 + 3.0 * static_cast<double>(i);
        CHECK(static_cast<double>(level[i]) == Approx(background->level(x, 333.0)).epsilon(1e-5));
        CHECK(static_cast<double>(scatter[i]) == Approx(background->scatter(x, 333.0)).epsilon(1e-4));
    }
}

TEST_CASE("stars and a galaxy do not lift the sky", "[background]") {
    numerics::Random random(13);
    frame::Cutout picture = flat_sky(640, 640, 500.0);
    for (int i = 0; i < 400; ++i)
        add_star(picture, random.uniform(0.0, 640.0), random.uniform(0.0, 640.0), random.uniform(300.0, 2e4),
                 3.5);
    add_star(picture, 300.0, 310.0, 4e6, 40.0);
    add_noise(picture, 8.0, random);
    const auto background = estimate_background(picture);
    REQUIRE(background);
    CHECK(background->usual_level() == Approx(500.0).margin(1.5));
    CHECK(background->usual_scatter() == Approx(8.0).epsilon(0.08));
    // Above the galaxy's own 2000 ADU only a little of it is taken for sky.
    CHECK(background->level(300.0, 310.0) < 560.0);
}

TEST_CASE("undefined pixels, half of the picture or scattered, are passed over", "[background]") {
    numerics::Random random(14);
    frame::Cutout picture = flat_sky(300, 300, 700.0);
    add_noise(picture, 5.0, random);
    for (int y = 0; y < 300; ++y) {
        for (int x = 0; x < 300; ++x) {
            if (x + y < 220 || (x * 7 + y * 3) % 5 == 0)
                picture.at(x, y) = std::numeric_limits<float>::quiet_NaN();
        }
    }
    const auto background = estimate_background(picture);
    REQUIRE(background);
    CHECK(background->level(250.0, 250.0) == Approx(700.0).margin(0.6));
    CHECK(background->level(20.0, 20.0) == Approx(700.0).margin(1.0));
    CHECK(background->scatter(150.0, 150.0) == Approx(5.0).epsilon(0.06));
}

TEST_CASE("pictures smaller than a cell have a sky, those without pixels do not", "[background]") {
    numerics::Random random(15);
    for (const auto& [width, height] : {std::pair{20, 13}, {1, 40}, {200, 3}, {1, 1}}) {
        INFO(width << " × " << height);
        frame::Cutout picture = flat_sky(width, height, 90.0);
        add_noise(picture, 1.0, random);
        const auto background = estimate_background(picture);
        REQUIRE(background);
        CHECK(background->usual_level() == Approx(90.0).margin(4.0));
        CHECK(std::isfinite(background->level(0.5 * width, 0.5 * height)));
    }
    CHECK_FALSE(estimate_background(frame::Cutout{}));
    frame::Cutout undefined = flat_sky(100, 100, 0.0);
    for (float& v : undefined.adu)
        v = std::numeric_limits<float>::quiet_NaN();
    const auto none = estimate_background(undefined);
    REQUIRE_FALSE(none);
    CHECK(none.error().what == "No pixel of the picture is defined.");
}
