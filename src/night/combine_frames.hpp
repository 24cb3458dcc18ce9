// SPDX-License-Identifier: MIT
// night/combine_frames — one star in several frames, brought to one zero point and averaged in flux.
// Averaging magnitudes would bias a faint star; weighting by its own noisy fluxes would too (design section
// 4), so every weight comes from the flux that the mean expects in that frame.
#pragma once

#include <span>
#include <vector>

#include "frame/wcs.hpp"
#include "photometry/noise.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {

struct StarInFrame {
    double flux_e = 0.0;
    photometry::NoiseTerms noise;
    double zero_point_mag = 0.0;
    double zero_point_err_mag = 0.0;  // random part: of the frame's comparison stars
    double scatter_mag = 0.0;         // beyond the noise: floor, uneven cloud
};

struct CombinedFlux {
    double zero_point_mag = 0.0;  // that flux_e is on: the median of the frames'
    Flux flux_e;                // error: random, zero points included, widened where the frames scatter more
    double dark_err_e = 0.0;    // one sigma if there were no light
    std::vector<double> share;  // of each frame in the mean; sums to 1
    std::vector<double> frame_err_e;       // of each frame's own flux, on its own zero point
    std::vector<double> frame_dark_err_e;  // … if there were no light
    double chi2 = 0.0;                     // of the frames about the mean, outliers weighted down
    std::size_t dof = 0;
    bool scattered = false;  // chi² so large that chance makes it once in 400 times
};

// At least one frame; the caller sees to it.
[[nodiscard]] CombinedFlux combine_frames(std::span<const StarInFrame> frames);

// Frames that put the star on the same pixels share what that place does to its light. The places are
// numbered from 0 as they come.
[[nodiscard]] std::vector<std::size_t> numbered_places(std::span<const frame::PixelPosition> positions);
struct PlacedError {
    std::size_t place = 0;
    double err = 0.0;  // relative, times the frame's share in the mean
};
// What to add to the relative variance of a mean that took the frames' errors of place for independent:
// Σ over places of (Σ of its frames' errors)², less Σ of all errors².
[[nodiscard]] double shared_place_variance(std::span<const PlacedError> frames);

// How many sigma of a Gaussian are as improbable as a chi² so large (Wilson & Hilferty 1931, PNAS 17, 684:
// good to a few per cent of the chance in the tail). 0 without degrees of freedom.
[[nodiscard]] double chi2_in_sigma(double chi2, std::size_t dof);
// Whether chi² exceeds what chance gives once in 400 times.
[[nodiscard]] bool beyond_chance(double chi2, std::size_t dof);

}  // namespace emberline::night
