// SPDX-License-Identifier: MIT
// photometry/local_sky — the sky under a star, from the annulus around it.
#pragma once

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/caveat.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct SkyEstimate {
    double level_adu = 0.0;      // at the star's centre
    double level_err_adu = 0.0;  // one sigma: c s² / n and, for a plane, its covariance at the centre
    double scatter_adu = 0.0;    // s: of one sky pixel, measured
    double pixels = 0.0;         // n_sky: used
    double factor = 1.0;         // c: 1 for a clipped mean, π/2 for a median
    double slope_x_adu = 0.0, slope_y_adu = 0.0;  // per pixel; 0 unless a plane was significant
    // How far the annulus is from flat beyond its noise: chi² per degree of freedom of sector and ring means.
    double unevenness = 0.0;
    Caveats caveats;  // sky-gradient, crowded-sky, edge
};

struct Annulus {
    double inner_px = 0.0;
    double outer_px = 0.0;
};

// Iterated clipping, mean of what is left (stars and cosmic rays clipped harder on the bright side); a plane
// where both slopes together are significant at 5 sigma. Undefined pixels are passed over. Stars too faint to
// be told from noise stay in the level, as they do under the star itself.
// Problem: fewer than 30 usable pixels, or an annulus without place or width.
[[nodiscard]] Result<SkyEstimate> estimate_sky(const frame::Cutout& cutout,
                                               const frame::PixelPosition& centre, const Annulus& annulus);

}  // namespace emberline::photometry
