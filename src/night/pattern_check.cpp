// SPDX-License-Identifier: MIT
#include "night/pattern_check.hpp"

namespace emberline::night {

Result<PatternVerdict> check_pattern(const frame::Frame&, const StarField&) {
    return PatternVerdict{};
}

}  // namespace emberline::night
