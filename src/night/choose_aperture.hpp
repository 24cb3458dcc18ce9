// SPDX-License-Identifier: MIT
// night/choose_aperture — which of each frame's apertures counts. Private to this room.
#pragma once

#include <optional>
#include <set>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"

namespace emberline::night {

// One index a frame; absent where the frame lacks that aperture.
// Settings win. Else, where the host shines under the transient, one angle for the whole campaign, since
// host light must not follow the seeing; else one multiple of the FWHM for each night and band.
// `comparison`: labels of the stars that calibrate.
[[nodiscard]] std::vector<std::optional<std::size_t>> choose_apertures(
    const std::vector<const photometry::FrameFluxes*>& frames, const std::set<std::string>& comparison,
    const MeasureSettings& settings);

}  // namespace emberline::night
