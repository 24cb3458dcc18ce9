// SPDX-License-Identifier: MIT
// numerics/shared_unknowns — many blocks of data that share hundreds of unknowns; each block has a few of its
// own, which are eliminated as it comes. The shared ones have a Gaussian prior, such as a Gaussian process.
// Source: Rasmussen & Williams 2006 (Gaussian Processes for Machine Learning), chapters 2 and 5.
#pragma once

#include <span>
#include <vector>

#include "numerics/matrix.hpp"
#include "quantities/problem.hpp"

namespace emberline::numerics {

// y = A x + G n + noise, x shared, n the block's own with prior mean 0.
struct DataBlock {
    Matrix shared;                      // A: rows × shared unknowns
    Matrix own;                         // G: rows × own unknowns
    std::vector<double> y, weights;     // weights 1/variance; 0 leaves a row out
    std::vector<double> own_precision;  // 1/variance of each prior; 0: free
};
// n given x is `at_zero − gain x`, with covariance `covariance`.
struct EliminatedBlock {
    Matrix gain;  // own × shared
    Matrix covariance;
    std::vector<double> at_zero;
};

class SharedUnknowns {
  public:
    explicit SharedUnknowns(std::size_t shared) : normal_(shared, shared), right_(shared) {}
    // Problem: shapes that do not fit; own unknowns that neither data nor priors determine.
    Result<EliminatedBlock> add(const DataBlock& block);
    // What `add` returns, without counting the block.
    [[nodiscard]] static Result<EliminatedBlock> eliminate(const DataBlock& block);

    // Of what is left once the blocks' own unknowns are gone.
    [[nodiscard]] const Matrix& normal() const { return normal_; }
    [[nodiscard]] const std::vector<double>& right() const { return right_; }

  private:
    Matrix normal_;
    std::vector<double> right_;
};

// The same information as fewer independent numbers of unit variance: y = Rᵀ x + noise.
struct WhitenedData {
    Matrix root;            // R: shared × as many numbers as tell anything
    std::vector<double> y;  // R y is the normal equations' right side
};
// By pivoted Cholesky of N. What moves an unknown by less than a hundredth of its `prior_sigma` is left out:
// the points of a blurred image tell far fewer numbers than there are points.
[[nodiscard]] WhitenedData whitened(const Matrix& normal, std::span<const double> right,
                                    std::span<const double> prior_sigma);

struct FieldPosterior {
    std::vector<double> mean;
    Matrix covariance;
};
// Prior x ~ N(mean, covariance), the latter positive semi-definite.
// Problem: a matrix that is not finite.
[[nodiscard]] Result<FieldPosterior> field_posterior(const WhitenedData& data, std::span<const double> mean,
                                                     const Matrix& covariance);
// −2 ln of the marginal likelihood, up to what does not depend on the prior.
[[nodiscard]] Result<double> minus_two_log_evidence(const WhitenedData& data, std::span<const double> mean,
                                                    const Matrix& covariance);
// Normal equations of what the data say of the prior's mean, its deviations integrated out.
struct NormalEquations {
    Matrix normal;
    std::vector<double> right;
};
[[nodiscard]] Result<NormalEquations> marginal_of_mean(const WhitenedData& data, const Matrix& covariance);

// The x ≥ 0 that minimises xᵀ N x − 2 bᵀ x, by active sets (Lawson & Hanson 1974, chapter 23).
[[nodiscard]] std::vector<double> non_negative_solution(const Matrix& normal, std::span<const double> right);

// Bᵀ N B and Bᵀ b for a basis B with as many rows as N.
[[nodiscard]] NormalEquations projected(const Matrix& normal, std::span<const double> right,
                                        const Matrix& basis);

}  // namespace emberline::numerics
