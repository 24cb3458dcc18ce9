// SPDX-License-Identifier: MIT
// night/seen_place — where one frame shows the transient on the sky. Private to this room.
// Source: King 1983 (PASP 95, 163) for the error of a centre; how far a slope of light moves it:
// seen_place.cpp.
#pragma once

#include <optional>

#include "frame/wcs.hpp"
#include "night/campaign.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "photometry/frame_record.hpp"

namespace emberline::night {

// The transient's own centre: on the template's difference where there is one; where a host shines in and
// there is none, by the PSF on what a smooth host leaves; else its centroid. From there to the sky by the
// plate solution, corrected by the comparison stars about it. `fluxes` is what measure_frame has so far: its
// stars, caveats and surroundings. Absent where the centre is not known to about 0.08 FWHM (a signal-to-noise
// of 5 to 6), the transient is saturated, no comparison star was found, or the host cannot be told from it: a
// transient on its nucleus, or a frame without a PSF.
[[nodiscard]] std::optional<photometry::SeenPlace> seen_place(const photometry::FrameFluxes& fluxes,
                                                              const StarField& field, const frame::Wcs& wcs,
                                                              const FrameNeeds& needs,
                                                              const Campaign& campaign);

}  // namespace emberline::night
