// SPDX-License-Identifier: MIT
// stars/profile — the width and shape of a star's image.
#pragma once

#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/angle.hpp"
#include "quantities/problem.hpp"

namespace emberline::stars {

// An elliptical Moffat profile integrated over pixels, fitted by least squares to one star.
struct StarProfile {
    double fwhm_px = 0.0;  // geometric mean of the two axes
    double fwhm_err_px = 0.0;
    double elongation = 1.0;   // long over short axis, >= 1
    Angle direction;           // of the long axis, from +x towards +y, [0, 180) degrees
    double moffat_beta = 0.0;  // about 2.5–5 for seeing; large when the profile is Gaussian
    frame::PixelPosition centre;
    double flux_adu = 0.0;
    double sky_adu = 0.0;
};
// Problem: no convergence, a width below 0.5 px or beyond the cut-out, undefined pixels in the core.
[[nodiscard]] Result<StarProfile> fit_profile(const frame::Cutout& cutout, const frame::PixelPosition& start,
                                              double fwhm_guess_px, double gain_e_per_adu,
                                              double read_noise_e);

// One shape for a frame: medians over its stars.
struct FrameProfile {
    double fwhm_px = 0.0;
    double fwhm_err_px = 0.0;  // of the median
    double elongation = 1.0;   // of the mean second-moment ellipse: random directions do not add up
    Angle direction;
    double moffat_beta = 0.0;
    std::size_t stars = 0;
};
[[nodiscard]] FrameProfile combine(const std::vector<StarProfile>& profiles);

}  // namespace emberline::stars
