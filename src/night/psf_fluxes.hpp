// SPDX-License-Identifier: MIT
// night/psf_fluxes — the frame's PSF from the stars of the sequence, and the light of each by it. Private to
// this room.
#pragma once

#include "night/find_stars.hpp"
#include "night/sampled_light.hpp"
#include "photometry/frame_record.hpp"
#include "photometry/pixel_noise.hpp"
#include "photometry/psf.hpp"
#include "quantities/problem.hpp"

namespace emberline::night {

// Of the frame's sky, as its stars tell.
[[nodiscard]] photometry::PixelNoise pixel_noise(const photometry::FrameFluxes& fluxes);

// The fit joins the frame's apertures, with a flux of every star and of the transient (host and all).
// Problem: too few clear stars for a PSF; `fluxes` is then as it was.
[[nodiscard]] Result<photometry::Psf> add_psf_fluxes(photometry::FrameFluxes& fluxes, const StarField& field,
                                                     const FrameNeeds& needs, const SampledLight& sampled);

}  // namespace emberline::night
