// SPDX-License-Identifier: MIT
// numerics/least_squares — linear and non-linear least squares, and one special shape: many local unknowns
// (one a group) bordered by a few global ones.
#pragma once

#include <functional>
#include <span>
#include <vector>

#include "numerics/matrix.hpp"
#include "quantities/problem.hpp"

namespace emberline::numerics {

struct LinearFit {
    std::vector<double> parameters;
    Matrix covariance;  // for the weights as given: not scaled by chi2/dof
    double chi2 = 0.0;
    std::size_t dof = 0;
};
// Minimises Σ w_i (y_i − Σ_j A_ij p_j)² by column-pivoted QR of the scaled matrix. Empty weights mean 1.
// Problem: fewer rows than columns, or columns that depend on each other.
[[nodiscard]] Result<LinearFit> linear_fit(const Matrix& a, std::span<const double> y,
                                           std::span<const double> weights = {});

// r(p): fills residuals already divided by their sigma. Returns false where p is not allowed.
using ResidualFunction = std::function<bool(std::span<const double> parameters, std::span<double> residuals)>;
struct NonlinearOptions {
    int most_iterations = 200;
    double relative_step = 1e-12;      // stop when |Δp| < relative_step (|p| + relative_step)
    double relative_decrease = 1e-14;  // stop when Δχ² < relative_decrease χ²
};
struct NonlinearFit {
    std::vector<double> parameters;
    Matrix covariance;
    double chi2 = 0.0;
    std::size_t dof = 0;
    int iterations = 0;
    bool converged = false;
};
// Levenberg–Marquardt with numerical derivatives (central), scaled by Marquardt's diagonal, from the same
// start in shorter steps where it does not converge. Where it never does: the lowest χ² found. Problem: a
// start that is not allowed, fewer residuals than parameters, a singular normal matrix.
[[nodiscard]] Result<NonlinearFit> nonlinear_fit(const ResidualFunction& residuals,
                                                 const std::vector<double>& start, std::size_t n_residuals,
                                                 const NonlinearOptions& options = {});

// The bordered problem: y = l_group + b·g + noise, g with Gaussian priors. Each local unknown is eliminated
// as its rows come, so the cost is one pass over the rows and one solve of the size of g.
class BorderedLeastSquares {
  public:
    BorderedLeastSquares(std::size_t groups, std::size_t globals);
    struct Term {
        std::size_t global;
        double coefficient;
    };
    void add_row(std::size_t group, std::span<const Term> terms, double y, double weight);
    void add_prior(std::size_t global, double mean, double weight);
    // Problem: a group without weight is fine (its local stays undetermined, see `determined`); a global that
    // neither data nor prior determine is named by its number.
    struct Solution {
        std::vector<double> locals;
        std::vector<bool> determined;
        std::vector<double> local_variance_given_globals;  // 1 / Σ w
        Matrix local_gradient;  // groups × globals: d l / d g, i.e. minus the weighted mean of b
        std::vector<double> globals;
        Matrix global_covariance;
    };
    [[nodiscard]] Result<Solution> solve() const;

  private:
    std::size_t groups_, globals_;
    std::vector<double> sum_w_, sum_wy_;
    Matrix sum_wb_;  // groups × globals
    Matrix normal_;  // globals × globals, before elimination
    std::vector<double> right_;
};

}  // namespace emberline::numerics
