// SPDX-License-Identifier: MIT
// rehearsal/option_limits — numbers of options between their least and their most. Private to this room.
#pragma once

#include <vector>

#include "quantities/problem.hpp"

namespace emberline::rehearsal {

struct OptionLimit {
    const char* name;
    double value, least, most;
};

// Problem (kind request): the first that is outside, or not a number.
[[nodiscard]] Result<void> check_limits(const std::vector<OptionLimit>& limits, const char* where);

}  // namespace emberline::rehearsal
