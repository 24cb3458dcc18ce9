// SPDX-License-Identifier: MIT
// night/frame_needs — what a frame's header must have told for its light to be measured.
#pragma once

#include "frame/frame_facts.hpp"
#include "quantities/band.hpp"
#include "quantities/problem.hpp"

namespace emberline::night {

struct FrameNeeds {
    Band band;
    double gain_e_per_adu = 1.0, read_noise_e = 0.0;
    double saturation_adu = 65535.0, linear_to_adu = 65535.0;
};

// Problem: no time, no exposure, no band, a picture of 8 bits.
[[nodiscard]] Result<FrameNeeds> needs_of(const frame::FrameFacts& facts);
// The numbers alone, whatever else is missing.
[[nodiscard]] FrameNeeds light_needs(const frame::FrameFacts& facts);

}  // namespace emberline::night
