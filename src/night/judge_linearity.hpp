// SPDX-License-Identifier: MIT
// night/judge_linearity — whether the pixels still count light. A picture that was stretched, rounded to few
// levels, sharpened or smoothed is no measurement, whatever its header says. Private to this room.
#pragma once

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

struct LinearityVerdict {
    Caveats caveats;
    std::vector<std::string> remarks;
};

// With `refuse_processed` off, what would be refused is flagged Caveat::processed.
// `fluxes`: the frame as measured. Problem: what was found (with its numbers), and what to save instead.
// Cloud, crowding, saturated stars, wrong catalogue magnitudes, few stars: no reason to refuse. Nor is a
// plain blur, which is linear; a filter so gentle that it acts like one (means of neighbours that are alike,
// within several scatters) is not told from it, and hardly moves a magnitude.
[[nodiscard]] Result<LinearityVerdict> judge_linearity(const frame::Frame& frame,
                                                       const photometry::FrameFluxes& fluxes,
                                                       const StarField& field, const FrameNeeds& needs,
                                                       const standard::Sequence& sequence,
                                                       const Campaign& campaign);

}  // namespace emberline::night
