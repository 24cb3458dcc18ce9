// SPDX-License-Identifier: MIT
// numerics/matern_pass — the pass forward over the values: each column (the values, and those of B) becomes a
// column of independent numbers of unit variance, and least squares takes them as they come. Private to this
// room.
#pragma once

#include <span>
#include <vector>

#include "numerics/matern_state.hpp"

namespace emberline::numerics {

// min |w − W b|² + |b|² with rows added one at a time, by Givens rotations of a triangle that starts as the
// unit matrix: what normal equations lose to rounding is kept.
class UnitRidge {
  public:
    explicit UnitRidge(std::size_t coefficients);
    void add(std::span<double> row, double value);               // spoils the row
    [[nodiscard]] const Matrix& triangle() const { return r_; }  // upper R: RᵀR = I + WᵀW
    [[nodiscard]] double rest() const { return rest_; }          // the least sum
    [[nodiscard]] std::vector<double> solution() const;

  private:
    Matrix r_;
    std::vector<double> right_;
    double rest_ = 0.0;
};

[[nodiscard]] MaternEvidence evidence_from(const UnitRidge& fit, std::size_t n, double log_determinant);

// Calls `after(i, state covariance, state means)` once value i was seen; the means are one a column: the
// values first, then those of B. Returns ln|K + D|.
template <std::size_t D, class After>
double pass_forward(const Matern& process, const MaternData& data, UnitRidge& fit, After&& after) {
    const StateKernel<D> kernel(process);
    const std::size_t k = data.basis.columns();
    std::vector<StateColumn<D>> means(k + 1);
    std::vector<double> row(k);
    StateSquare<D> p = kernel.at_rest();
    StateColumn<D> gain{};
    double log_determinant = 0.0;
    for (std::size_t i = 0; i < data.times.size(); ++i) {
        const double elapsed = i > 0 ? data.times[i] - data.times[i - 1] : 0.0;
        if (elapsed > 0.0) {
            const Motion<D> motion = kernel.motion(elapsed);
            p = carried(motion.carry, p, motion.added);
            for (auto& mean : means)
                mean = times(motion.carry, mean);
        }
        const double variance = see(p, gain, data.variances[i]);
        log_determinant += std::log(variance);
        const double scale = 1.0 / std::sqrt(variance);
        double value = 0.0;
        for (std::size_t c = 0; c <= k; ++c) {
            const double surprise = (c == 0 ? data.values[i] : data.basis(i, c - 1)) - means[c][0];
            (c == 0 ? value : row[c - 1]) = surprise * scale;
            for (std::size_t d = 0; d < D; ++d)
                means[c][d] += gain[d] * surprise;
        }
        fit.add(row, value);
        after(i, p, means);
    }
    return log_determinant;
}

}  // namespace emberline::numerics
