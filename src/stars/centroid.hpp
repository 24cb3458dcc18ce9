// SPDX-License-Identifier: MIT
// stars/centroid — where a star's light is centred, and how well that is known.
#pragma once

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/problem.hpp"

namespace emberline::stars {

struct Centroid {
    frame::PixelPosition position;  // frame coordinates, px
    double x_err_px = 0.0, y_err_px = 0.0;
    double fwhm_px = 0.0;   // from the same weighted moments: a first estimate
    double peak_adu = 0.0;  // highest pixel of the window (1.5 FWHM about the centre), sky included
};

// Iterated centroid with a Gaussian window matched to the star (as if for an optimal fit): converges to
// within 0.001 px, from the brightest peak within `most_shift_px`. Single pixels and short tracks that stand
// alone are taken for hot pixels and cosmic rays. Sky is the clipped mean of the cut-out's border region.
// Problem: no star there (signal-to-noise of the window below 3, or below what noise reaches somewhere in a
// wide search), it wanders more than `most_shift_px`, or too many undefined pixels.
[[nodiscard]] Result<Centroid> measure_centroid(const frame::Cutout& cutout,
                                                const frame::PixelPosition& start, double fwhm_guess_px,
                                                double most_shift_px, double gain_e_per_adu);

}  // namespace emberline::stars
