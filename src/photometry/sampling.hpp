// SPDX-License-Identifier: MIT
// photometry/sampling — what a coarse lattice of pixels does to an aperture's sum. The sum of a star's
// samples over a circle depends on where the star falls between them: by aliasing of the image's spatial
// frequencies (Poisson's summation formula; Bracewell 1986, The Fourier Transform and Its Applications, ch.
// 10) and by the circle's edge through pixels that are not flat. With the frame's profile the effect of each
// star's place is known and taken out; what the profile does not know is in the error.
#pragma once

#include <span>
#include <vector>

#include "frame/wcs.hpp"
#include "quantities/angle.hpp"

namespace emberline::photometry {

struct SampledImage {
    double fwhm_px = 0.0;  // of the star's image before the pixel gathers it, in the picture's pixels
    double elongation = 1.0;
    Angle direction;  // of the long axis, from +x towards +y
    double moffat_beta = 3.5;
    double pixel_side =
        1.0;  // of the square that gathers light, in picture pixels; 1/2 on a mosaic's red lattice
    bool pixel_turned = false;  // … turned by 45 degrees: a mosaic's green lattice
};

struct SamplingEffect {
    std::vector<double> correction;  // the sum times this is what an even lattice would give; one a radius
    std::vector<double> err;         // relative, one sigma, of what is left
};

// `centre`: where the star is on the lattice. Radii in picture pixels, ascending.
[[nodiscard]] SamplingEffect sampling_effect(const SampledImage& image, const frame::PixelPosition& centre,
                                             std::span<const double> radii_px);

}  // namespace emberline::photometry
