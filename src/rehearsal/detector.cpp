// SPDX-License-Identifier: MIT
#include "rehearsal/detector.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace emberline::rehearsal {
namespace {

// Streams of the frame's and of the sensor's random numbers.
constexpr std::uint64_t noise_stream = 1, cosmic_ray_stream = 2;
constexpr std::uint64_t hot_pixel_stream = 1, response_stream = 2;

// Above, one Gaussian with the right skewness stands for the photon count and the read noise together.
constexpr double counted_below_e = 50.0;
constexpr double most_adu = 65535.0;

void apply_response(LightMap& light, double flat_err, numerics::Random random) {
    if (flat_err <= 0.0) return;
    for (double& e : light.e)
        e *= std::max(0.0, 1.0 + flat_err * random.gaussian());
}

std::size_t any_below(numerics::Random& random, int size) {
    return static_cast<std::size_t>(random.uniform() * size);
}

// Most hot pixels are faint and a few are glaring: dark currents spread evenly in their logarithm.
void add_hot_pixels(LightMap& light, const InventedInstrument& instrument, double exposure_s,
                    numerics::Random random) {
    for (int i = 0; i < instrument.hot_pixels; ++i) {
        const std::size_t x = any_below(random, light.width_px);
        const std::size_t y = any_below(random, light.height_px);
        const double dark_e_per_s = std::exp(random.gaussian(1.5, 1.3));
        light.e[y * static_cast<std::size_t>(light.width_px) + x] += dark_e_per_s * exposure_s;
    }
}

// Short straight tracks, charge left evenly along them.
void add_cosmic_rays(LightMap& light, double expected_number, numerics::Random random) {
    const std::uint64_t number = random.poisson(expected_number);
    for (std::uint64_t i = 0; i < number; ++i) {
        double x = random.uniform(0.0, light.width_px) - 0.5;
        double y = random.uniform(0.0, light.height_px) - 0.5;
        const double direction = random.uniform(0.0, 2.0 * std::numbers::pi);
        const double length_px = -3.0 * std::log(1.0 - random.uniform());
        const double charge_e = std::exp(random.uniform(std::log(200.0), std::log(5000.0)));
        const int steps = 1 + static_cast<int>(4.0 * length_px);
        for (int step = 0; step < steps; ++step) {
            const int column = static_cast<int>(std::lround(x));
            const int row = static_cast<int>(std::lround(y));
            if (light.contains(column, row)) light.e[light.index(column, row)] += charge_e / steps;
            x += 0.25 * std::cos(direction);
            y += 0.25 * std::sin(direction);
        }
    }
}

}  // namespace

// Cornish & Fisher 1937 (Rev. Inst. Int. Stat. 5, 307) to third order: mean, variance and skewness of
// Poisson plus Gaussian exactly enough that no sum over pixels can tell, at a third of the time.
double detected_e(numerics::Random& random, double expected_e, double read_noise_e) {
    if (expected_e < counted_below_e) {
        return static_cast<double>(random.poisson(expected_e)) + random.gaussian(0.0, read_noise_e);
    }
    const double variance = expected_e + read_noise_e * read_noise_e;
    const double sigma = std::sqrt(variance);
    const double skewness = expected_e / (variance * sigma);
    const double excess = expected_e / (variance * variance);
    const double z = random.gaussian();
    return expected_e + sigma * (z + skewness * (z * z - 1.0) / 6.0 + excess * z * (z * z - 3.0) / 24.0 -
                                 skewness * skewness * z * (2.0 * z * z - 5.0) / 36.0);
}

std::vector<std::uint16_t> detect(LightMap light, const InventedInstrument& instrument, double exposure_s,
                                  const numerics::Random& random) {
    const numerics::Random sensor(instrument.sensor_seed);
    apply_response(light, instrument.flat_err, sensor.stream(response_stream));
    for (double& e : light.e)
        e += instrument.dark_e_per_s * exposure_s;
    add_hot_pixels(light, instrument, exposure_s, sensor.stream(hot_pixel_stream));
    add_cosmic_rays(light, instrument.cosmic_rays_per_minute * exposure_s / 60.0,
                    random.stream(cosmic_ray_stream));

    numerics::Random noise = random.stream(noise_stream);
    const double full_adu = std::clamp(instrument.full_adu, 0.0, most_adu);
    std::vector<std::uint16_t> adu(light.e.size());
    for (std::size_t i = 0; i < adu.size(); ++i) {
        const double e = detected_e(noise, light.e[i], instrument.read_noise_e);
        const double value = std::floor(instrument.offset_adu + e / instrument.gain_e_per_adu + 0.5);
        adu[i] = static_cast<std::uint16_t>(std::clamp(value, 0.0, full_adu));
    }
    return adu;
}

}  // namespace emberline::rehearsal
