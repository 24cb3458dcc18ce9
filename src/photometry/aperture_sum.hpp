// SPDX-License-Identifier: MIT
// photometry/aperture_sum — from pixels to light inside circles, several radii in one pass.
#pragma once

#include <span>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "photometry/local_sky.hpp"
#include "quantities/caveat.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct ApertureSums {
    std::vector<double> flux_adu;  // above sky, one a radius; the sky's plane is followed where there is one
    std::vector<double> area_px;   // exact area inside the frame
    double peak_adu = 0.0;         // highest raw pixel touched by the smallest radius
    std::vector<Caveats> caveats;  // one a radius: saturated, not-linear, edge, bad-pixels
    // Of undefined pixels, whose light is a filling; one a radius.
    std::vector<double> filled_adu, filled_area_px;
};

struct PixelLimits {
    double saturation_adu = 65535.0;  // a pixel at or above it is saturated
    double linear_to_adu = 65535.0;   // above it the star is not used
};

// Sums the light inside circles; edge pixels count by the exact area covered. An undefined pixel is filled
// by the mean of its neighbours at equal distance from the centre (caveat); with more than a tenth of the
// area undefined the flux is NaN. Problem: centre outside the cut-out, no radius, radii
// that do not ascend from above 0, no usable radius.
[[nodiscard]] Result<ApertureSums> sum_apertures(const frame::Cutout& cutout,
                                                 const frame::PixelPosition& centre,
                                                 std::span<const double> radii_px, const SkyEstimate& sky,
                                                 const PixelLimits& limits);

}  // namespace emberline::photometry
