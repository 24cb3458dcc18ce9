// SPDX-License-Identifier: MIT
// night/pattern_check — whether the pixels are the mosaic that the header says, or none. Private to this
// room.
#pragma once

#include "frame/frame.hpp"
#include "night/find_stars.hpp"
#include "quantities/caveat.hpp"
#include "quantities/problem.hpp"

namespace emberline::night {

struct PatternVerdict {
    Caveats caveats;
    std::vector<std::string> remarks;
};

// Levels and scatter of the four phases of 2 × 2 pixels, from the sky of the stars' cut-outs and a few boxes
// beside. Problem: a frame said to be of one colour whose phases differ as a colour camera's do; a mosaic
// whose phases are all alike (it was interpolated already, or is no mosaic); a pattern whose greens
// contradict each other while another pattern's agree (it names that).
[[nodiscard]] Result<PatternVerdict> check_pattern(const frame::Frame& frame, const StarField& field);

}  // namespace emberline::night
