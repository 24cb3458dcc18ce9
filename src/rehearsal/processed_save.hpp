// SPDX-License-Identifier: MIT
// rehearsal/processed_save — what people do to a picture before they save it, and should not have.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>
#include <vector>

namespace emberline::rehearsal {

enum class Processing {
    none,
    gamma,     // a power of the light
    arcsinh,   // strong stretch of the faint
    rational,  // x / (x + c (1 − x)) between black and white point
    logarithm,
    display_scaled,   // black and white point cut, spread over all of the range: linear between, clipped
                      // beyond
    eight_bits,       // rounded to 256 levels over the display range
    eight_bits_wide,  // … and saved with 16 bits again
    curve,            // an S-shaped curve over the histogram
    histogram_equal,  // each level as often as the others
    sharpened,        // unsharp mask
    deconvolved,      // some rounds of image restoration
    smoothed,         // Gaussian blur
    median_filtered,  // each pixel the middle of its neighbours
    denoised,         // small differences shrunk, large ones kept
    background_removed_and_stretched
};
[[nodiscard]] std::string_view word(Processing processing);
[[nodiscard]] const std::vector<Processing>& all_processings();

struct ProcessedImage {
    std::vector<float> adu;
    bool eight_bits = false;  // to be saved as bytes
};
// `strength`: 0 hardly, 1 as people do, 2 hard. Of a picture in ADU, row-major, saved with 16 bits.
[[nodiscard]] ProcessedImage process(std::span<const float> adu, int width_px, int height_px,
                                     Processing processing, double strength);

}  // namespace emberline::rehearsal
