// SPDX-License-Identifier: MIT
#include "picture/grey_scale.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

namespace emberline::picture {
namespace {

constexpr double finest_step = 1.0 / 16.0, coarsest_step = 1.0 / 12.0;
constexpr double deepest_sigma = 100.0, least_deep_sigma = 5.0;
constexpr double greys = 254.0;  // steps from grey 1 to grey 255

// Numbers as integers that are ordered alike.
std::uint32_t ordered_bits(float value) {
    const auto bits = std::bit_cast<std::uint32_t>(value);
    return (bits & 0x80000000U) != 0 ? ~bits : bits | 0x80000000U;
}

float of_ordered_bits(std::uint32_t ordered) {
    return std::bit_cast<float>((ordered & 0x80000000U) != 0 ? ordered & 0x7FFFFFFFU : ~ordered);
}

constexpr unsigned dropped_bits = 16;  // 1 + 8 + 7 stay: numbers within 0.8 % of one another share a place

}  // namespace

GreyScale GreyScale::of(double sky_adu, double noise_adu, double least_adu, double most_adu) {
    GreyScale scale{.sky_adu = sky_adu, .noise_adu = noise_adu};
    const double lowest = std::clamp(std::asinh((least_adu - sky_adu) / noise_adu),
                                     -std::asinh(deepest_sigma), -std::asinh(least_deep_sigma));
    const double highest = std::asinh((most_adu - sky_adu) / noise_adu);
    scale.step = std::clamp((highest - lowest) / greys, finest_step, coarsest_step);
    scale.low = lowest - scale.step;
    return scale;
}

double GreyScale::value_adu(int grey) const {
    return sky_adu + noise_adu * std::sinh(low + step * grey);
}

double GreyScale::most_error_adu(double adu) const {
    const double at = std::asinh((adu - sky_adu) / noise_adu);
    return noise_adu * (std::sinh(std::abs(at) + 0.5 * step) - std::sinh(std::abs(at)));
}

GreyCoder::GreyCoder(const GreyScale& scale) : sky_(static_cast<float>(scale.sky_adu)) {
    bounds_.assign(257, std::numeric_limits<float>::quiet_NaN());  // nothing lies beyond the end
    bounds_[0] = bounds_[1] = -std::numeric_limits<float>::infinity();
    for (std::size_t g = 2; g <= 255; ++g)
        bounds_[g] = static_cast<float>(scale.noise_adu *
                                        std::sinh(scale.low + scale.step * (static_cast<double>(g) - 0.5)));
    starts_.resize(std::size_t{1} << (32U - dropped_bits));
    std::uint8_t grey = 1;
    for (std::size_t k = 0; k < starts_.size(); ++k) {
        const float least = of_ordered_bits(static_cast<std::uint32_t>(k) << dropped_bits);
        while (grey < 255 && least >= bounds_[grey + std::size_t{1}])
            ++grey;
        starts_[k] = grey;
    }
}

std::uint8_t GreyCoder::operator()(float adu) const {
    if (!std::isfinite(adu)) return 0;
    const float above = adu - sky_;
    std::size_t grey = starts_[ordered_bits(above) >> dropped_bits];
    while (above >= bounds_[grey + 1])
        ++grey;
    return static_cast<std::uint8_t>(grey);
}

void GreyCoder::code(std::span<const float> adu, std::uint8_t* grey) const {
    std::transform(adu.begin(), adu.end(), grey, *this);
}

}  // namespace emberline::picture
