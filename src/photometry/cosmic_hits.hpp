// SPDX-License-Identifier: MIT
// photometry/cosmic_hits — pixels of a frame that are sharper than its PSF allows. Private to this room.
#pragma once

#include <vector>

#include "photometry/image_part.hpp"

namespace emberline::photometry {

// A pixel that stands out of the median of its eight neighbours by more than a star's middle could, and by
// six sigma. `light` is above sky.
[[nodiscard]] std::vector<bool> cosmic_hits(const PixelPlane& light, const Psf& psf, const PixelNoise& noise);

// Puts in what the neighbours say: near `star`, the PSF on a level; elsewhere their median.
void fill_hits(ReadyPixels& pixels, const std::vector<bool>& hits, const Psf& psf,
               const frame::PixelPosition& star);

}  // namespace emberline::photometry
