// SPDX-License-Identifier: MIT
#include "rehearsal/detector.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "rehearsal/sensor.hpp"

namespace emberline::rehearsal {
namespace {

// Streams of the frame's random numbers.
constexpr std::uint64_t noise_stream = 1, cosmic_ray_stream = 2, unstable_stream = 3;

// Above, one Gaussian with the right skewness stands for the photon count and the read noise together.
constexpr double counted_below_e = 50.0;
constexpr double most_adu = 65535.0;

// An unstable pixel is hot or not, frame by frame, as if a coin were thrown.
void add_hot_pixels(LightMap& light, const InventedInstrument& instrument, double exposure_s,
                    numerics::Random random) {
    for (const HotPixel& pixel : hot_pixels_of(instrument)) {
        if (pixel.unstable && random.uniform() < 0.5) continue;
        light.e[pixel.index] += pixel.dark_e_per_s * exposure_s;
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
        const auto electrons = static_cast<double>(random.poisson(expected_e));
        return electrons + random.gaussian(0.0, read_noise_e);
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
    dim(light, instrument);
    add_dark(light, instrument, exposure_s);
    add_hot_pixels(light, instrument, exposure_s, random.stream(unstable_stream));
    add_cosmic_rays(light, instrument.cosmic_rays_per_minute * exposure_s / 60.0,
                    random.stream(cosmic_ray_stream));

    numerics::Random noise = random.stream(noise_stream);
    const double full_adu = std::clamp(instrument.full_adu, 0.0, most_adu);
    const std::vector<double> columns_adu = column_offsets_adu(instrument);
    const auto width = static_cast<std::size_t>(light.width_px);
    std::vector<std::uint16_t> adu(light.e.size());
    for (std::size_t i = 0; i < adu.size(); ++i) {
        const double e = detected_e(noise, light.e[i], instrument.read_noise_e);
        const double offset_adu =
            columns_adu.empty() ? instrument.offset_adu : instrument.offset_adu + columns_adu[i % width];
        const double value = std::floor(offset_adu + e / instrument.gain_e_per_adu + 0.5);
        adu[i] = static_cast<std::uint16_t>(std::clamp(value, 0.0, full_adu));
    }
    return adu;
}

}  // namespace emberline::rehearsal
