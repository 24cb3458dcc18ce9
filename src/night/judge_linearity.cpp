// SPDX-License-Identifier: MIT
#include "night/judge_linearity.hpp"

namespace emberline::night {

Result<LinearityVerdict> judge_linearity(const frame::Frame&, const photometry::FrameFluxes&,
                                         const StarField&, const FrameNeeds&, const standard::Sequence&,
                                         const Campaign&) {
    return LinearityVerdict{};
}

}  // namespace emberline::night
