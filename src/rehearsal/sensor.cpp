// SPDX-License-Identifier: MIT
// Notation: v the share that the farthest corner loses; r distance from the optical axis, in units of that
// corner's.
#include "rehearsal/sensor.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/random.hpp"

namespace emberline::rehearsal {
namespace {

// Streams of the sensor's random numbers.
constexpr std::uint64_t hot_pixel_stream = 1, response_stream = 2, axis_stream = 3, dust_stream = 4,
                        dead_pixel_stream = 5, unstable_stream = 6, column_stream = 7;
constexpr double most_off_axis = 0.06;  // of the frame's sides
constexpr double dead_share = 0.1;
constexpr double glow_reach = 0.12;  // of the frame's width, to 1/e
constexpr double no_glow_e_per_s = 1e-6;

std::size_t any_below(numerics::Random& random, int size) {
    return static_cast<std::size_t>(random.uniform() * size);
}

// cos⁴ of the angle from the axis, the natural fall of illumination, as if the corner were so far off it
// that it loses its share.
class Vignette {
  public:
    explicit Vignette(const InventedInstrument& instrument) {
        numerics::Random random = numerics::Random(instrument.sensor_seed).stream(axis_stream);
        const double right = instrument.width_px - 1.0, top = instrument.height_px - 1.0;
        x_ = right * (0.5 + random.uniform(-most_off_axis, most_off_axis));
        y_ = top * (0.5 + random.uniform(-most_off_axis, most_off_axis));
        const double reach_x = std::max(x_, right - x_), reach_y = std::max(y_, top - y_);
        const double left = 1.0 - std::clamp(instrument.vignetting, 0.0, 0.999);
        const double reach2 = std::max(1.0, reach_x * reach_x + reach_y * reach_y);
        tan2_per_px2_ = (1.0 / std::sqrt(left) - 1.0) / reach2;
    }
    [[nodiscard]] double at(double x, double y) const {
        const double secant2 = 1.0 + tan2_per_px2_ * ((x - x_) * (x - x_) + (y - y_) * (y - y_));
        return 1.0 / (secant2 * secant2);
    }

  private:
    double x_, y_, tan2_per_px2_;
};

// A grain of dust far before the focus: the shadow is the aperture's, a disk with the hole that the
// secondary mirror leaves, its edges soft.
struct DustShadow {
    double x, y, outer_px, inner_px, depth;
    [[nodiscard]] double reach_px() const { return outer_px + 3.0; }
    [[nodiscard]] double let_through(double px, double py) const {
        const double r = std::hypot(px - x, py - y);
        const auto within = [&](double edge_px) { return std::clamp(edge_px - r + 1.5, 0.0, 3.0) / 3.0; };
        return 1.0 - depth * (within(outer_px) - within(inner_px));
    }
};

std::vector<DustShadow> dust_of(const InventedInstrument& instrument) {
    numerics::Random random = numerics::Random(instrument.sensor_seed).stream(dust_stream);
    std::vector<DustShadow> dust;
    for (int i = 0; i < instrument.dust_rings; ++i) {
        DustShadow shadow{};
        shadow.x = random.uniform(0.0, instrument.width_px);
        shadow.y = random.uniform(0.0, instrument.height_px);
        shadow.outer_px = random.uniform(10.0, 28.0);
        shadow.inner_px = shadow.outer_px * random.uniform(0.35, 0.5);
        shadow.depth = random.uniform(0.02, 0.07);
        dust.push_back(shadow);
    }
    return dust;
}

}  // namespace

void dim(LightMap& light, const InventedInstrument& instrument) {
    if (instrument.vignetting > 0.0) {
        const Vignette vignette(instrument);
        for (int y = 0; y < light.height_px; ++y) {
            for (int x = 0; x < light.width_px; ++x)
                light.e[light.index(x, y)] *= vignette.at(x, y);
        }
    }
    for (const DustShadow& shadow : dust_of(instrument)) {
        const double reach = shadow.reach_px();
        const auto least = [&](double at) { return std::max(0, static_cast<int>(std::floor(at - reach))); };
        const auto most = [&](double at, int size) {
            return std::min(size - 1, static_cast<int>(std::ceil(at + reach)));
        };
        for (int y = least(shadow.y); y <= most(shadow.y, light.height_px); ++y) {
            for (int x = least(shadow.x); x <= most(shadow.x, light.width_px); ++x)
                light.e[light.index(x, y)] *= shadow.let_through(x, y);
        }
    }
    if (instrument.flat_err > 0.0) {
        numerics::Random random = numerics::Random(instrument.sensor_seed).stream(response_stream);
        for (double& e : light.e)
            e *= std::max(0.0, 1.0 + instrument.flat_err * random.gaussian());
    }
    for (const std::size_t dead : dead_pixels_of(instrument))
        light.e[dead] *= dead_share;
}

// Most hot pixels are faint and a few are glaring: dark currents spread evenly in their logarithm.
std::vector<HotPixel> hot_pixels_of(const InventedInstrument& instrument) {
    const numerics::Random sensor(instrument.sensor_seed);
    numerics::Random random = sensor.stream(hot_pixel_stream);
    numerics::Random fate = sensor.stream(unstable_stream);
    std::vector<HotPixel> pixels;
    for (int i = 0; i < instrument.hot_pixels; ++i) {
        const std::size_t x = any_below(random, instrument.width_px);
        const std::size_t y = any_below(random, instrument.height_px);
        const double dark_e_per_s = std::exp(random.gaussian(1.5, 1.3));
        pixels.push_back({y * static_cast<std::size_t>(instrument.width_px) + x, dark_e_per_s,
                          fate.uniform() < instrument.unstable_share});
    }
    return pixels;
}

std::vector<std::size_t> dead_pixels_of(const InventedInstrument& instrument) {
    numerics::Random random = numerics::Random(instrument.sensor_seed).stream(dead_pixel_stream);
    std::vector<std::size_t> pixels;
    for (int i = 0; i < instrument.dead_pixels; ++i) {
        const std::size_t x = any_below(random, instrument.width_px);
        const std::size_t y = any_below(random, instrument.height_px);
        pixels.push_back(y * static_cast<std::size_t>(instrument.width_px) + x);
    }
    std::sort(pixels.begin(), pixels.end());
    pixels.erase(std::unique(pixels.begin(), pixels.end()), pixels.end());
    return pixels;
}

void add_dark(LightMap& light, const InventedInstrument& instrument, double exposure_s) {
    for (double& e : light.e)
        e += instrument.dark_e_per_s * exposure_s;
    if (instrument.amp_glow_e_per_s <= 0.0) return;
    const double reach_px = glow_reach * instrument.width_px;
    const double middle = 0.5 * (instrument.height_px - 1);
    for (int y = 0; y < light.height_px; ++y) {
        for (int x = 0; x < light.width_px; ++x) {
            const double r = std::hypot(instrument.width_px - 1.0 - x, y - middle);
            const double glow_e_per_s = instrument.amp_glow_e_per_s * std::exp(-r / reach_px);
            if (glow_e_per_s > no_glow_e_per_s) light.e[light.index(x, y)] += glow_e_per_s * exposure_s;
        }
    }
}

std::vector<double> column_offsets_adu(const InventedInstrument& instrument) {
    std::vector<double> offsets;
    if (instrument.column_err_adu <= 0.0) return offsets;
    numerics::Random random = numerics::Random(instrument.sensor_seed).stream(column_stream);
    for (int x = 0; x < instrument.width_px; ++x)
        offsets.push_back(random.gaussian(0.0, instrument.column_err_adu));
    return offsets;
}

}  // namespace emberline::rehearsal
