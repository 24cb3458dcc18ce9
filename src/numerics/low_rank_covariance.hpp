// SPDX-License-Identifier: MIT
// numerics/low_rank_covariance — C = diag(d) + V Vᵀ with few columns: likelihoods and solves without ever
// forming the n × n matrix (Woodbury identity, matrix determinant lemma).
#pragma once

#include <span>
#include <vector>

#include "numerics/matrix.hpp"
#include "quantities/problem.hpp"

namespace emberline::numerics {

class LowRankCovariance {
  public:
    // `variances` n positive numbers; `vectors` n × k, k may be 0. Problem: a variance that is not positive,
    // a vector of another length, or one that is not finite.
    static Result<LowRankCovariance> make(std::vector<double> variances, Matrix vectors);
    [[nodiscard]] std::size_t size() const { return variances_.size(); }
    [[nodiscard]] std::vector<double> solve(std::span<const double> x) const;  // C⁻¹ x
    [[nodiscard]] double chi2(std::span<const double> residuals) const;        // rᵀ C⁻¹ r
    [[nodiscard]] double log_determinant() const;
    // −2 ln L = rᵀ C⁻¹ r + ln|C| + n ln 2π
    [[nodiscard]] double minus_two_log_likelihood(std::span<const double> residuals) const;

  private:
    std::vector<double> variances_;
    Matrix vectors_;
    Matrix inner_lower_;  // Cholesky factor of I + Vᵀ D⁻¹ V
};

// Generalised least squares y = A p + noise with covariance C. Problem: as linear_fit.
struct GeneralisedFit {
    std::vector<double> parameters;
    Matrix covariance;
    double chi2 = 0.0;
    std::size_t dof = 0;
};
[[nodiscard]] Result<GeneralisedFit> generalised_fit(const Matrix& a, std::span<const double> y,
                                                     const LowRankCovariance& c);

}  // namespace emberline::numerics
