// SPDX-License-Identifier: MIT
// lightcurve/normal_matrix — sums over rows, and what follows from them.
#pragma once

#include <span>
#include <vector>

#include "numerics/matrix.hpp"
#include "quantities/problem.hpp"

namespace emberline::lightcurve {

// Adds weight · x xᵀ to the lower triangle, x the row `row` of `slopes`.
void add_row(numerics::Matrix& normal, const numerics::Matrix& slopes, std::size_t row, double weight);
// The lower triangle into the upper.
void mirror(numerics::Matrix& normal);

// Of an unknown's diagonal here and elsewhere on the way: false where it has lost all influence.
[[nodiscard]] constexpr bool still_matters(double here, double elsewhere) {
    constexpr double lost = 1e-10;
    return here > lost * elsewhere;
}

// Its Cholesky factor, taken in units of its diagonal, where parameters of very different size meet.
class NormalFactor {
  public:
    // Problem: the points do not determine the unknowns.
    static Result<NormalFactor> make(const numerics::Matrix& normal);
    [[nodiscard]] std::vector<double> solve(std::vector<double> right) const;
    [[nodiscard]] numerics::Matrix inverse() const;
    [[nodiscard]] double log_determinant() const;

  private:
    std::vector<double> scale_;
    numerics::Matrix lower_;
};

}  // namespace emberline::lightcurve
