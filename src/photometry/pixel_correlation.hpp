// SPDX-License-Identifier: MIT
// photometry/pixel_correlation — whether neighbouring sky pixels vary together, as after debayering,
// resampling or stacking: the scatter of single pixels then understates that of an aperture.
#pragma once

#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "photometry/local_sky.hpp"

namespace emberline::photometry {

// Sums of side × side blocks of the annulus over side · s, s the scatter of one pixel: unit Gaussians where
// pixels are independent, wider where they are not. Blocks with an undefined pixel or a source are passed
// over. A tilted sky is followed; nothing where the annulus is too small for blocks of that side.
[[nodiscard]] std::vector<double> block_pulls(const frame::Cutout& cutout, const frame::PixelPosition& centre,
                                              const Annulus& annulus, const SkyEstimate& sky, int side_px);

// The factor by which the scatter of single pixels must grow to stand for that of apertures, from the pulls
// of all stars of a frame: 1 unless they are wider than chance allows.
[[nodiscard]] double correlation_factor(const std::vector<double>& pulls);

}  // namespace emberline::photometry
