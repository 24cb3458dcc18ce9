// SPDX-License-Identifier: MIT
#include "night/settle_stack.hpp"

namespace emberline::night {

StackVerdict settle_stack(const frame::Frame&, const StarField&, const FrameNeeds& needs, const Campaign&) {
    return {needs, {}, {}};
}

}  // namespace emberline::night
