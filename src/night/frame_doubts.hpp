// SPDX-License-Identifier: MIT
// night/frame_doubts — what a frame's header says that is possible and hardly true: a clock, a place or a
// number that is wrong shows here, before it is in a report.
#pragma once

#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "night/campaign.hpp"
#include "quantities/instant.hpp"

namespace emberline::night {

// Without what is the one frame's own, so that the same doubt on many frames is said once.
struct FrameDoubt {
    std::string what;  // "Dated in the future."
    std::string mend;
};

// `facts.site` as the header has it. Of its place against the Sun, only where the campaign gives none: that
// is site_doubt's.
[[nodiscard]] std::vector<FrameDoubt> frame_doubts(const frame::FrameFacts& facts, const Campaign& campaign,
                                                   const Instant& now);

}  // namespace emberline::night
