// SPDX-License-Identifier: MIT
// night/surroundings — the pixels about the transient that host removal needs, from one frame. Private to
// this room.
#pragma once

#include <optional>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "night/find_stars.hpp"
#include "photometry/frame_record.hpp"
#include "photometry/psf.hpp"
#include "quantities/problem.hpp"

namespace emberline::night {

// To each side of the transient: wide enough to see the host beyond it, and its nucleus where that is near.
[[nodiscard]] int half_width_px(const Campaign& campaign, double fwhm_px, double scale_arcsec_per_px);

// The sky is that of the stars of the frame, since around the transient there is the host.
// Problem: pixels that cannot be read; a plate solution that does not reach beside the transient.
[[nodiscard]] Result<photometry::Surroundings> surroundings_of(
    const frame::Frame& frame, const frame::Wcs& wcs, const FrameNeeds& needs, const Campaign& campaign,
    const photometry::FrameFluxes& fluxes, const std::optional<photometry::Psf>& psf, int half_px);

// Of the host's nucleus from the transient; absent where the campaign names none.
[[nodiscard]] std::optional<photometry::SkyShift> nucleus_shift(const Campaign& campaign);

}  // namespace emberline::night
