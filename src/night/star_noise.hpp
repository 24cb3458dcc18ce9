// SPDX-License-Identifier: MIT
// night/star_noise — what a star's flux at one of its frame's apertures is worth: its variance, and whether
// light is missing. Worked out again from what the ledger keeps of a frame, for whatever flux is expected.
#pragma once

#include <cstddef>

#include "photometry/frame_record.hpp"
#include "photometry/noise.hpp"
#include "photometry/star_flux.hpp"

namespace emberline::night {

// Of one star at one of its frame's apertures.
[[nodiscard]] photometry::NoiseTerms noise_terms(const photometry::FrameFluxes& frame,
                                                 const photometry::StarFlux& star, std::size_t aperture);
// Of its own flux there, one sigma, as a share of it.
[[nodiscard]] double relative_err(const photometry::FrameFluxes& frame, const photometry::StarFlux& star,
                                  std::size_t aperture);
// What its place on the pixels is worth there, as a share of its light; 0 where nothing is known to vary with
// the place.
[[nodiscard]] double place_err(const photometry::StarFlux& star, std::size_t aperture);
// Light is missing from that aperture: saturated, beyond the linear range, cut by the frame's edge,
// undefined.
[[nodiscard]] bool light_lost(const photometry::FrameFluxes& frame, const photometry::StarFlux& star,
                              std::size_t aperture);

}  // namespace emberline::night
