// SPDX-License-Identifier: MIT
// stars/chip_marks — what moves with the chip and not with the sky: hot pixels and their neighbours, dust on
// the sensor, that a single frame cannot tell from stars.
#pragma once

#include <cstddef>
#include <vector>

#include "frame/wcs.hpp"
#include "stars/star_patterns.hpp"

namespace emberline::stars {

// Indices into `here` that lie on the place of one of `there` on the chip, within `reach_px`, although `map`
// (from there to here, as the sky has moved) puts that one elsewhere by more than three times that, and that
// have no partner by the sky. Where the sky did not move, nothing can be told: empty.
[[nodiscard]] std::vector<std::size_t> chip_marks(const std::vector<frame::PixelPosition>& here,
                                                  const std::vector<frame::PixelPosition>& there,
                                                  const PlaneMap& map, double reach_px);

}  // namespace emberline::stars
