// SPDX-License-Identifier: MIT
// frame/lattice_box — which parts of a mosaic's picture hold anything: a corner of a turned lattice has no
// stored pixel at all, and reading it is a Problem.
#pragma once

#include "frame/frame_facts.hpp"
#include "frame/pixels.hpp"

namespace emberline::frame {

// False: no pixel of that box of the picture can be a stored one. Always true where the frame is no mosaic.
[[nodiscard]] bool touches_frame(const FrameFacts& facts, const PixelBox& box);

}  // namespace emberline::frame
