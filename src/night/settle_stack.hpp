// SPDX-License-Identifier: MIT
// night/settle_stack — what a stored pixel is worth in electrons, where the header does not tell how many
// exposures were stacked and how: from the level and the noise of the picture itself. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "quantities/caveat.hpp"

namespace emberline::night {

struct StackVerdict {
    FrameNeeds needs;  // gain, read noise, saturation of the stored pixels, as they are to be used
    Caveats caveats;
    std::vector<std::string> remarks;
};

// Never fails: what cannot be told stays as the header and the campaign have it, with a remark.
[[nodiscard]] StackVerdict settle_stack(const frame::Frame& frame, const StarField& field,
                                        const FrameNeeds& needs, const Campaign& campaign);

}  // namespace emberline::night
