// SPDX-License-Identifier: MIT
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/noise.hpp"
#include "photometry/pixel_correlation.hpp"

using namespace emberline;
using namespace emberline::photometry;

namespace {

constexpr double sky_adu = 500.0, scatter_adu = 20.0;
constexpr Annulus annulus{18.0, 40.0};
const std::array radii_px{1.5, 1.8, 2.5, 4.0, 6.0, 9.0};

enum class Kind { independent, half_pixel, red, green, red_turned, tilted };

frame::Cutout noise(int side, numerics::Random& random) {
    frame::Cutout c{{0, 0, side, side}, {}};
    for (int i = 0; i < side * side; ++i)
        c.adu.push_back(static_cast<float>(random.gaussian(sky_adu, scatter_adu)));
    return c;
}

// What makes a full picture of a mosaic's red pixels, each the mean of the nearest ones that saw red.
frame::Cutout debayered(const frame::Cutout& seen, bool green) {
    frame::Cutout out = seen;
    const int n = seen.box.width;
    const auto at = [&](int x, int y) { return seen.at(std::clamp(x, 0, n - 1), std::clamp(y, 0, n - 1)); };
    for (int y = 0; y < n; ++y) {
        for (int x = 0; x < n; ++x) {
            const bool odd_x = x % 2 == 1, odd_y = y % 2 == 1;
            const float cross = 0.25F * (at(x - 1, y) + at(x + 1, y) + at(x, y - 1) + at(x, y + 1));
            const float corners =
                0.25F * (at(x - 1, y - 1) + at(x + 1, y - 1) + at(x - 1, y + 1) + at(x + 1, y + 1));
            if (green) {
                if (odd_x == odd_y) out.at(x, y) = cross;
            } else if (odd_x && odd_y) {
                out.at(x, y) = corners;
            } else if (odd_x) {
                out.at(x, y) = 0.5F * (at(x - 1, y) + at(x + 1, y));
            } else if (odd_y) {
                out.at(x, y) = 0.5F * (at(x, y - 1) + at(x, y + 1));
            }
        }
    }
    return out;
}

// Bilinear, by the same parts of a pixel everywhere.
frame::Cutout shifted(const frame::Cutout& c, float dx, float dy) {
    frame::Cutout out = c;
    for (int y = 0; y + 1 < c.box.height; ++y) {
        for (int x = 0; x + 1 < c.box.width; ++x) {
            out.at(x, y) = (1.0F - dy) * ((1.0F - dx) * c.at(x, y) + dx * c.at(x + 1, y)) +
                           dy * ((1.0F - dx) * c.at(x, y + 1) + dx * c.at(x + 1, y + 1));
        }
    }
    return out;
}

frame::Cutout made(Kind kind, numerics::Random& random) {
    frame::Cutout c = noise(91, random);
    switch (kind) {
        case Kind::independent:
            return c;
        case Kind::half_pixel:
            return shifted(c, 0.5F, 0.5F);
        case Kind::red:
            return debayered(c, false);
        case Kind::green:
            return debayered(c, true);
        case Kind::red_turned:
            return shifted(debayered(c, false), 0.3F, 0.45F);
        case Kind::tilted:
            for (int y = 0; y < 91; ++y) {
                for (int x = 0; x < 91; ++x)
                    c.at(x, y) += 0.8F * static_cast<float>(x);
            }
            return c;
    }
    return c;
}

struct Scored {
    NoiseGrowth growth;
    std::array<double, radii_px.size()> spread{};  // of (sum − truth)/σ, with and without the growth
    std::array<double, radii_px.size()> as_if_independent{};
};

// Frames of 12 stars' surroundings each; the truth of an empty aperture is 0.
Scored score(Kind kind, std::uint64_t seed, int frames) {
    numerics::Random random(seed);
    std::array<std::vector<double>, radii_px.size()> pulls, plain;
    Scored scored;
    for (int f = 0; f < frames; ++f) {
        std::vector<BlockScale> scales = block_scales(2.0 * radii_px.back());
        struct Place {
            std::vector<double> sums, areas;
            SkyEstimate sky;
        };
        std::vector<Place> places;
        for (int s = 0; s < 12; ++s) {
            const frame::Cutout c = made(kind, random);
            const frame::PixelPosition centre{45.0 + random.uniform(-1.0, 1.0),
                                              45.0 + random.uniform(-1.0, 1.0)};
            const auto sky = estimate_sky(c, centre, annulus);
            REQUIRE(sky);
            for (BlockScale& scale : scales) {
                const auto own = block_pulls(c, centre, annulus, *sky, scale.side_px);
                scale.pulls.insert(scale.pulls.end(), own.begin(), own.end());
            }
            const auto sums =
                sum_apertures(c, centre, {radii_px.begin(), radii_px.end()}, *sky, {65535.0, 65535.0});
            REQUIRE(sums);
            places.push_back({sums->flux_adu, sums->area_px, *sky});
        }
        scored.growth = noise_growth(scales);
        const double wide = scored.growth.of_square(2.0 * radii_px.back());
        for (const Place& place : places) {
            for (std::size_t k = 0; k < radii_px.size(); ++k) {
                const double n = place.areas[k], factor = scored.growth.of_circle(radii_px[k]);
                const BackgroundNoise independent{
                    n, place.sky.scatter_adu, place.sky.pixels, place.sky.factor, 0.0, square_area_px(n)};
                BackgroundNoise together = independent;
                *together.square_area_px *= factor * factor;
                together.sky_pixels /= wide * wide;
                pulls[k].push_back(place.sums[k] / std::sqrt(background_variance_e2(together)));
                plain[k].push_back(place.sums[k] / std::sqrt(background_variance_e2(independent)));
            }
        }
    }
    for (std::size_t k = 0; k < radii_px.size(); ++k) {
        scored.spread[k] = numerics::robust_spread(pulls[k]);
        scored.as_if_independent[k] = numerics::robust_spread(plain[k]);
    }
    return scored;
}

}  // namespace

TEST_CASE("an aperture's error is right at every size where neighbouring pixels were made of each other",
          "[pixel_correlation]") {
    for (const Kind kind : {Kind::half_pixel, Kind::red, Kind::green, Kind::red_turned}) {
        const Scored scored = score(kind, 20240315, 80);
        for (std::size_t k = 0; k < radii_px.size(); ++k) {
            INFO("kind " << static_cast<int>(kind) << ", radius " << radii_px[k] << " px, f "
                         << scored.growth.f << " g " << scored.growth.g);
            // Design: the spread of (m − truth)/σ is 0.9–1.1. 960 values tell it to 0.026.
            CHECK(scored.spread[k] > 0.87);
            CHECK(scored.spread[k] < 1.13);
        }
        CHECK(scored.as_if_independent.back() > 1.5);
    }
}

TEST_CASE("independent pixels stay independent, on a tilted sky too", "[pixel_correlation]") {
    for (const Kind kind : {Kind::independent, Kind::tilted}) {
        const Scored scored = score(kind, 20240316, 10);
        CHECK(scored.growth.independent());
        for (std::size_t k = 0; k < radii_px.size(); ++k) {
            CHECK(scored.spread[k] > 0.85);
            CHECK(scored.spread[k] < 1.15);
        }
    }
}

TEST_CASE("the noise of bilinear half-pixel shifts grows as arithmetic says", "[pixel_correlation]") {
    // Along an axis each pixel is the mean of two: neighbours correlate by 1/2, and the variance of a sum of
    // L over that of L independent ones is 1 + 2 (1 − 1/L)/2 = 2 − 1/L; a square's is its square.
    const Scored scored = score(Kind::half_pixel, 20240317, 1);
    // The spread of the 100 blocks of 12 px and more is known to a tenth, that of smaller ones better.
    for (const double side : {2.0, 4.0, 8.0, 18.0})
        CHECK(scored.growth.of_square(side) == Approx(2.0 - 1.0 / side).margin(0.12));
    CHECK(scored.growth.of_square(1.0) >= 1.0);
}

TEST_CASE("scales start at two pixels and end beyond the largest aperture", "[pixel_correlation]") {
    const auto scales = block_scales(14.0);
    REQUIRE(scales.size() >= 4);
    CHECK(scales.front().side_px == 2);
    CHECK(scales.back().side_px >= 14);
    for (std::size_t i = 1; i < scales.size(); ++i)
        CHECK(scales[i].side_px > scales[i - 1].side_px);
    CHECK(block_scales(1.0).size() == 1);
    CHECK(block_scales(1e9).size() < 10);
    CHECK(noise_growth({}).independent());
}
