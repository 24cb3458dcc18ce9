// SPDX-License-Identifier: MIT
// Fluxes measured in real frames, as a small table: one row a frame, three columns a star (flux in electrons,
// its background variance, its airmass), so that all that follows the aperture is tested on real numbers
// everywhere.
#pragma once

#include <string>
#include <vector>

#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"

namespace emberline::test {

// The frames as they were, with one aperture. Stars' places are not kept.
[[nodiscard]] Result<std::vector<photometry::FrameFluxes>> read_flux_table(const std::string& path);

// `aperture`: index for each frame. `remarks`: lines for the table's head, with the source of the frames.
[[nodiscard]] std::string write_flux_table(const std::vector<photometry::FrameFluxes>& frames,
                                           const std::vector<std::size_t>& aperture,
                                           const std::vector<std::string>& remarks);

}  // namespace emberline::test
