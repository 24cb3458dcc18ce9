// SPDX-License-Identifier: MIT
// photometry/smooth_host_blank — apertures laid where nothing is, to learn how far the model of the host
// misses. Private to the room.
#pragma once

#include <vector>

#include "frame/wcs.hpp"
#include "photometry/smooth_host_mean.hpp"
#include "photometry/smooth_host_pixels.hpp"
#include "photometry/smooth_host_surface.hpp"

namespace emberline::photometry::smooth {

[[nodiscard]] Footprint aperture_footprint(const PixelMap& pixels, const frame::PixelPosition& place,
                                           double radius_px);
// A fit of equal weights within `reach_px`: w = share / Σ share².
[[nodiscard]] Footprint psf_footprint(const PixelMap& pixels, const frame::PixelPosition& place,
                                      const Psf& psf, double reach_px);

// With a profile: about the nucleus at the transient's own elliptical radius, and a little inside and outside
// where that gives too few. Without: around the transient. At least 2.5 FWHM from the transient.
[[nodiscard]] std::vector<frame::PixelPosition> blank_places(const PixelMap& pixels, const MeanHost& host,
                                                             const frame::PixelPosition& transient,
                                                             double fwhm_px);

// What one blank aperture says.
struct Miss {
    double miss_adu = 0.0;
    double model_variance_adu2 = 0.0;  // by the fit's own account
    double noise_variance_adu2 = 0.0;  // of the pixels under the aperture
};
// The factor on the fit's own variance that the misses ask for: mean over its posterior, for a likelihood
// with Student's tails (ν = 5) and a log-normal prior. No misses: the prior's mean, above 1, since a fit
// that nothing has tested is not to be believed.
[[nodiscard]] double variance_factor(const std::vector<Miss>& misses);

}  // namespace emberline::photometry::smooth
