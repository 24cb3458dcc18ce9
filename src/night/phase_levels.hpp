// SPDX-License-Identifier: MIT
// night/phase_levels — what each of the four phases of 2 × 2 stored pixels sees of the sky and of the stars.
// Phase k is the pixels with (x & 1) + 2 (y & 1) = k. Private to this room.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"

namespace emberline::night {

struct StarInStored {
    std::string label;
    frame::PixelPosition position;  // stored pixels
    frame::Cutout cutout;           // of stored pixels
};

struct StarPhases {
    std::string label;
    // Light in each phase, the sky of that phase taken off: 1 in each where all pixels see alike. Their sum
    // is 4.
    std::array<double, 4> share{};
    double err = 0.0;    // of one share, of noise
    double alias = 0.0;  // of the star in its window, sampled at every second pixel along one axis
};

struct PhaseLevels {
    std::vector<StarPhases> stars;    // bright enough, and not saturated
    std::array<double, 4> sky_adu{};  // over their mean
    std::array<double, 4> sky_err_adu{};
    double sigma_adu = 0.0;  // scatter of a single pixel of one phase
    int boxes = 0;           // that the sky was measured in
    // Of the sky's noise between neighbours, less that between pixels two apart: a sensor's pixels vary
    // alone, those interpolated from a mosaic with their neighbours, and what is not flat in the sky reaches
    // further.
    double neighbour_correlation = 0.0;
};

// A Gaussian window about each star, so that no edge cuts through pixels; sky from the pixels beyond.
[[nodiscard]] PhaseLevels measure_phases(const std::vector<StarInStored>& stars, double fwhm_px,
                                         double saturation_adu);

}  // namespace emberline::night
