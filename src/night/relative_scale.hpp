// SPDX-License-Identifier: MIT
// night/relative_scale — how much light each frame let through against the others of its band, from its stars
// alone: before any catalogue, for fits that need frames on one scale. Private to this room.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "photometry/frame_record.hpp"

namespace emberline::night {

struct FrameScale {
    double scale = 1.0;  // electrons here for one in the middle of the frames
    double err = 0.0;    // relative; infinite where the frame has no star in common with the others
};
// By the flux that `aperture` names in each frame, one index a frame; frames without a usable star get an
// infinite error. `comparison`: the labels that may be used.
[[nodiscard]] std::vector<FrameScale> relative_scales(
    const std::vector<const photometry::FrameFluxes*>& frames, const std::vector<std::size_t>& aperture,
    const std::set<std::string>& comparison);

}  // namespace emberline::night
