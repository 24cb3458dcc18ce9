// SPDX-License-Identifier: MIT
// night/settle_stack — what a stored pixel is worth in electrons, where the header does not tell how many
// exposures were stacked and how: from the level and the noise of the picture itself. Private to this room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "quantities/caveat.hpp"
#include "quantities/instant.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

struct StackVerdict {
    FrameNeeds needs;  // gain, read noise, saturation of the stored pixels, as they are to be used
    Caveats caveats;
    std::vector<std::string> remarks;
    // Where exposures were counted by the noise: open shutter of all, and their middle. Else as the header.
    std::optional<double> exposure_s;
    std::optional<Instant> mid_exposure;
    bool gain_told = false;  // the noise told how they were put together: the gain is assumed no longer
};

// Floating-point pictures are often saved as parts of the full range, from 0 to 1: what one ADU is in them,
// 1/65535 where no pixel of a sample of the picture lies above 1, else 1. Always 1 for a stack that this
// program made: its header speaks of the stored pixels.
[[nodiscard]] double unit_of(const frame::Frame& frame, const FrameNeeds& needs);
// Gain and levels of a picture whose ADU are `unit` of its own numbers.
[[nodiscard]] FrameNeeds in_unit(FrameNeeds needs, double unit);

// A header that tells all is believed: a picture that contradicts it strongly is remarked. Count without
// how: sum, mean or median, whichever the noise fits. Neither: how many exposures' mean the noise fits, or a
// sum's where the offset is known and the stars send more light than such a telescope gathers in the time;
// nothing changes unless it is a single exposure's no longer, well beyond what is known of the camera.
// `needs` as the header has them, in ADU; the verdict's are in the picture's own numbers.
// Never fails: what cannot be told stays as the header and the campaign have it.
[[nodiscard]] StackVerdict settle_stack(const frame::Frame& frame, const StarField& field,
                                        const FrameNeeds& needs, double unit,
                                        const standard::Sequence& sequence);

}  // namespace emberline::night
