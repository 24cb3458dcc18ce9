// SPDX-License-Identifier: MIT
// numerics/log_gamma — ln |Γ(x)| for many threads: std::lgamma writes the sign to a variable that all of them
// share.
#pragma once

#include <cmath>

namespace emberline::numerics {

[[nodiscard]] inline double log_gamma(double x) {
    int sign = 0;
    return ::lgamma_r(x, &sign);
}

}  // namespace emberline::numerics
