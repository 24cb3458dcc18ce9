// SPDX-License-Identifier: MIT
// lightcurve/prediction — what a fit says of any time, whatever kind of fit it was. Every derived figure
// (peak, Δm15, a rate, a forecast) is read off its curves, so that all fits give them in one way.
#pragma once

#include <span>

#include "numerics/matrix.hpp"
#include "numerics/random.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::lightcurve {

class Prediction {
  public:
    virtual ~Prediction() = default;
    // Best estimate and one sigma of the curve itself (not of a new point) at that time.
    [[nodiscard]] virtual ValueWithError magnitude(double bjd_tdb) const = 0;
    // Whole curves that the points leave possible: `count` rows of magnitudes at those times, ascending.
    // Common errors and offsets between series vary from row to row, not along one.
    [[nodiscard]] virtual numerics::Matrix draws(std::span<const double> bjd_tdb, std::size_t count,
                                                 numerics::Random& random) const = 0;
};

}  // namespace emberline::lightcurve
