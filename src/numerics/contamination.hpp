// SPDX-License-Identifier: MIT
// numerics/contamination — weights for values of which a few are wrong: drawn from two Gaussians of one
// centre, a narrow one and a wide one for mistakes (Tukey 1960's contaminated normal). Inside three sigma the
// weights stay near 1, so that the error bars of clean data keep their meaning.
#pragma once

#include <cmath>

namespace emberline::numerics {

struct Contamination {
    double wide_share = 0.01;  // of values that are mistakes
    double wide_over_core = 10.0;
};
inline constexpr Contamination observation_outliers{0.01, 10.0};  // cosmic rays, passing aeroplanes
inline constexpr Contamination catalogue_outliers{0.05, 10.0};    // blends, variables, misprints

// Mean of (core sigma / own sigma)² given the squared pull (residual / core sigma)²: the weight of
// expectation maximisation, in (wide_over_core⁻², 1].
[[nodiscard]] inline double contamination_weight(double squared_pull, const Contamination& c) {
    const double narrowing = 1.0 / (c.wide_over_core * c.wide_over_core);
    const double core = (1.0 - c.wide_share) * std::exp(-0.5 * squared_pull);
    const double wide = c.wide_share / c.wide_over_core * std::exp(-0.5 * squared_pull * narrowing);
    const double narrow_share = core + wide > 0.0 ? core / (core + wide) : 0.0;
    return narrow_share + (1.0 - narrow_share) * narrowing;
}

}  // namespace emberline::numerics
