// SPDX-License-Identifier: MIT
#include "rehearsal/detector.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

struct Moments {
    double mean = 0.0, variance = 0.0, third = 0.0;  // about the mean
};

Moments moments_of(double expected_e, double read_noise_e, int n, std::uint64_t seed) {
    numerics::Random random(seed);
    double sum = 0.0, sum2 = 0.0, sum3 = 0.0;
    for (int i = 0; i < n; ++i) {
        const double x = detected_e(random, expected_e, read_noise_e) - expected_e;
        sum += x;
        sum2 += x * x;
        sum3 += x * x * x;
    }
    const double mean = sum / n;
    const double second = sum2 / n;
    return {mean + expected_e, second - mean * mean,
            sum3 / n - 3.0 * mean * second + 2.0 * mean * mean * mean};
}

}  // namespace

TEST_CASE("a pixel reads a Poisson count and a Gaussian error: mean, variance, skewness", "[detector]") {
    // All cumulants of a Poisson count equal its mean; a Gaussian adds to the second alone.
    constexpr int n = 400000;
    constexpr std::uint64_t seed = 20240314;
    for (const double expected : {0.0, 3.0, 49.0, 51.0, 200.0, 30000.0}) {
        for (const double read_noise : {0.0, 6.0}) {
            INFO("seed " << seed << ", " << expected << " e, read noise " << read_noise);
            const Moments m = moments_of(expected, read_noise, n, seed);
            const double variance = expected + read_noise * read_noise;
            // Four standard errors of each moment of n values.
            CHECK(m.mean == Approx(expected).margin(4.0 * std::sqrt(variance / n) + 1e-12));
            CHECK(m.variance == Approx(variance).margin(
                                    4.0 * std::sqrt((2.0 * variance * variance + expected) / n) + 1e-12));
            CHECK(m.third ==
                  Approx(expected).margin(4.0 * std::sqrt(6.0 / n) * std::pow(variance, 1.5) * 1.2 + 1e-12));
        }
    }
}

TEST_CASE("the sky's variance on a frame is sky, dark current, read noise and rounding", "[detector]") {
    InventedInstrument instrument;
    instrument.width_px = instrument.height_px = 400;
    instrument.hot_pixels = 0;
    instrument.cosmic_rays_per_minute = 0.0;
    instrument.dark_e_per_s = 0.5;
    const double sky_e = 130.0, exposure_s = 60.0;
    const auto adu = detect(LightMap(400, 400, sky_e), instrument, exposure_s, numerics::Random(7));
    double sum = 0.0, sum2 = 0.0;
    for (const std::uint16_t value : adu) {
        const double e = (value - instrument.offset_adu) * instrument.gain_e_per_adu;
        sum += e;
        sum2 += e * e;
    }
    const double n = static_cast<double>(adu.size());
    const double mean = sum / n;
    const double expected = sky_e + 0.5 * exposure_s;
    // Rounding to integers: a twelfth of a squared step (Sheppard 1898).
    const double variance = expected + 36.0 + instrument.gain_e_per_adu * instrument.gain_e_per_adu / 12.0;
    CHECK(mean == Approx(expected).margin(4.0 * std::sqrt(variance / n)));
    CHECK(sum2 / n - mean * mean == Approx(variance).epsilon(4.0 * std::sqrt(2.0 / n)));
}

TEST_CASE("pixels clip at 65535 and at 0, or where the sensor is full", "[detector]") {
    InventedInstrument instrument;
    instrument.width_px = instrument.height_px = 10;
    instrument.hot_pixels = 0;
    CHECK(detect(LightMap(10, 10, 1e6), instrument, 1.0, numerics::Random(1))[5] == 65535);
    instrument.full_adu = 4095.0;
    CHECK(detect(LightMap(10, 10, 1e6), instrument, 1.0, numerics::Random(1))[5] == 4095);
    instrument.full_adu = 1e9;  // a 16-bit frame all the same
    CHECK(detect(LightMap(10, 10, 1e9), instrument, 1.0, numerics::Random(1))[5] == 65535);
    instrument.offset_adu = -100.0;
    CHECK(detect(LightMap(10, 10, 0.0), instrument, 1.0, numerics::Random(1))[5] == 0);
}

TEST_CASE("hot pixels and responses stay where they are; cosmic rays do not", "[detector]") {
    InventedInstrument instrument;
    instrument.width_px = instrument.height_px = 200;
    instrument.hot_pixels = 40;
    instrument.cosmic_rays_per_minute = 0.0;
    instrument.read_noise_e = 0.0;
    const auto bright = [&](std::uint64_t seed) {
        const auto adu = detect(LightMap(200, 200, 0.0), instrument, 600.0, numerics::Random(seed));
        std::vector<std::size_t> where;
        for (std::size_t i = 0; i < adu.size(); ++i) {
            if (adu[i] > 800) where.push_back(i);
        }
        return where;
    };
    const auto first = bright(1);
    CHECK(first.size() > 20);
    CHECK(first.size() <= 40);
    CHECK(bright(2) == first);
    instrument.sensor_seed = 99;
    CHECK(bright(2) != first);
    instrument.hot_pixels = 0;
    CHECK(bright(3).empty());
    instrument.cosmic_rays_per_minute = 5.0;
    const auto rays = bright(3);
    CHECK_FALSE(rays.empty());
    CHECK(bright(4) != rays);
}
