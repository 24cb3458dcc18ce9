// SPDX-License-Identifier: MIT
// photometry/level_histogram — which levels pixels take: their steps, and where they were cut off.
#pragma once

#include <span>
#include <vector>

namespace emberline::photometry {

struct LevelHistogram {
    double lowest = 0.0, highest = 0.0;
    double step = 0.0;                // of which all differences are multiples; 0: there is none
    double sky_spacing = 0.0;         // of the levels in use about the middle of the sky, in ADU
    double used = 1.0;                // of the levels there that chance would have let be used
    double levels = 0.0;              // that fit between 0 and the highest, at that step
    double at_lowest = 0.0;           // share of the sky pixels that have the lowest value of all
    double at_lowest_expected = 0.0;  // … that a fifth of a scatter above it lets one level expect
    std::size_t pixels = 0;
};

// Of sky pixels and of star pixels; `scatter_adu` of one sky pixel. Values that are not finite are left out.
[[nodiscard]] LevelHistogram level_histogram(std::vector<float> sky, std::span<const float> stars,
                                             double scatter_adu);

}  // namespace emberline::photometry
