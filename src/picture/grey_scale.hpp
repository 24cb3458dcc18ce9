// SPDX-License-Identifier: MIT
// picture/grey_scale — pixel values as 8 bits: straight within the sky's noise, logarithmic far above it, so
// that neither the faintest light nor the brightest star is lost and the reader may stretch as he likes.
// Notation: value = sky + noise sinh(low + step grey), grey 1 … 255; 0 is a pixel that is not defined.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace emberline::picture {

struct GreyScale {
    double sky_adu = 0.0, noise_adu = 1.0, low = 0.0, step = 1.0 / 16.0;

    // Steps of 1/16 of the noise at the sky, or as fine as the span from `least` to `most` allows; what lies
    // more than 100 times the noise below the sky is cut off there, and a value that no sky can be under
    // (more than some million times the noise above it) likewise.
    [[nodiscard]] static GreyScale of(double sky_adu, double noise_adu, double least_adu, double most_adu);
    [[nodiscard]] double value_adu(int grey) const;
    // The most that value_adu can be off by for a value within the scale.
    [[nodiscard]] double most_error_adu(double adu) const;
    bool operator==(const GreyScale&) const = default;
};

// The nearest grey of many pixels, fast: no function is evaluated a pixel.
class GreyCoder {
  public:
    explicit GreyCoder(const GreyScale& scale);
    [[nodiscard]] std::uint8_t operator()(float adu) const;
    void code(std::span<const float> adu, std::uint8_t* grey) const;

  private:
    float sky_ = 0.0F;
    std::vector<float> bounds_;         // above the sky: from bounds_[g] on it is grey g, one more at the end
    std::vector<std::uint8_t> starts_;  // by the upper bits of a number: the grey of the least such number
};

}  // namespace emberline::picture
