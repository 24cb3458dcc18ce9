// SPDX-License-Identifier: MIT
// night/plate_doubt — whether what a frame was refused for, or how it was measured, points at a plate
// solution that is missing or wrong. Doubt costs a look at the frame's own stars, and no more: the header's
// solution stays where they agree with it.
#pragma once

#include <optional>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "night/plate_finder.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// Of a frame that measure_frame refused: it has no plate solution, its puts the transient off the frame, or
// the comparison stars are not where it has them.
[[nodiscard]] bool plate_may_mend(const frame::Frame& frame, const Problem& refusal);

// Of a frame that was measured: comparison stars are missing although fainter ones were found, or the light
// where they should be has nothing to do with their magnitudes.
[[nodiscard]] bool plate_in_doubt(const photometry::FrameFluxes& fluxes, const standard::Sequence& sequence,
                                  const Campaign& campaign);

// Fit for others to be matched with: the sequence's stars are there, and on their places.
[[nodiscard]] bool plate_is_good(const photometry::FrameFluxes& fluxes, const standard::Sequence& sequence,
                                 const Campaign& campaign);

// The most that two solutions differ over the frame: at its middle and its corners, stored pixels.
struct PlateDifference {
    double middle_arcsec = 0.0, most_arcsec = 0.0;
};
[[nodiscard]] std::optional<PlateDifference> plate_difference(const frame::Wcs& a, const frame::Wcs& b,
                                                              int width_px, int height_px);

}  // namespace emberline::night
