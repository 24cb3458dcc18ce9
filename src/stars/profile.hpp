// SPDX-License-Identifier: MIT
// stars/profile — the width and shape of a star's image.
#pragma once

#include <numbers>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/angle.hpp"
#include "quantities/problem.hpp"

namespace emberline::stars {

// What gathers a pixel's light: a square about its centre, smaller than the distance between pixels where the
// picture is one colour of a mosaic, and turned by 45 degrees on its green lattice.
struct PixelSquare {
    double side_px = 1.0;
    bool turned = false;
    // A point of the square, given in sides from −1/2 to 1/2.
    [[nodiscard]] frame::PixelPosition point(double along, double across) const {
        if (!turned) return {side_px * along, side_px * across};
        const double half_px = side_px / std::numbers::sqrt2;
        return {half_px * (along - across), half_px * (along + across)};
    }
    bool operator==(const PixelSquare&) const = default;
};

// An elliptical Moffat profile integrated over pixels, fitted by least squares to one star. Width and shape
// are those of the image that falls on the pixels, before they gather it.
struct StarProfile {
    double fwhm_px = 0.0;  // geometric mean of the two axes
    double fwhm_err_px = 0.0;
    double elongation = 1.0;   // long over short axis, >= 1
    Angle direction;           // of the long axis, from +x towards +y, [0, 180) degrees
    double moffat_beta = 0.0;  // about 2.5–5 for seeing; large when the profile is Gaussian
    frame::PixelPosition centre;
    double flux_adu = 0.0;  // sum over all pixels
    double sky_adu = 0.0;
};
// Problem: no convergence, a width below 0.5 px or beyond the cut-out, undefined pixels in the core.
[[nodiscard]] Result<StarProfile> fit_profile(const frame::Cutout& cutout, const frame::PixelPosition& start,
                                              double fwhm_guess_px, double gain_e_per_adu,
                                              double read_noise_e, const PixelSquare& square = {});

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
