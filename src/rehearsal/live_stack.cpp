// SPDX-License-Identifier: MIT
#include "rehearsal/live_stack.hpp"

namespace emberline::rehearsal {

InventedStack expose_stack(const InventedCampaign&, const PlannedFrame&, const StackOptions&) {
    return {};
}

}  // namespace emberline::rehearsal
