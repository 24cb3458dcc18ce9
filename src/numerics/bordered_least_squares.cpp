// SPDX-License-Identifier: MIT
// Notation: l local unknown of a group, g the globals, b a row's coefficients, w its weight.
#include <fmt/format.h>

#include "numerics/eigen_view.hpp"
#include "numerics/least_squares.hpp"

namespace emberline::numerics {
namespace {

constexpr double rounding = 1e-13;

}  // namespace

BorderedLeastSquares::BorderedLeastSquares(std::size_t groups, std::size_t globals)
    : groups_(groups),
      globals_(globals),
      sum_w_(groups, 0.0),
      sum_wy_(groups, 0.0),
      sum_wb_(groups, globals),
      normal_(globals, globals),
      right_(globals, 0.0) {}

void BorderedLeastSquares::add_row(std::size_t group, std::span<const Term> terms, double y, double weight) {
    sum_w_[group] += weight;
    sum_wy_[group] += weight * y;
    for (const Term& term : terms) {
        sum_wb_(group, term.global) += weight * term.coefficient;
        right_[term.global] += weight * term.coefficient * y;
        for (const Term& other : terms)
            normal_(term.global, other.global) += weight * term.coefficient * other.coefficient;
    }
}

void BorderedLeastSquares::add_prior(std::size_t global, double mean, double weight) {
    normal_(global, global) += weight;
    right_[global] += weight * mean;
}

Result<BorderedLeastSquares::Solution> BorderedLeastSquares::solve() const {
    Eigen::MatrixXd normal = view(normal_);
    Eigen::VectorXd right = view(right_);
    const auto sums = view(sum_wb_);
    // Schur complement: what the locals explain is taken out of the globals' equations.
    for (std::size_t f = 0; f < groups_; ++f) {
        if (!(sum_w_[f] > 0.0)) continue;
        const Eigen::VectorXd b = sums.row(static_cast<Eigen::Index>(f));
        normal.noalias() -= b * b.transpose() / sum_w_[f];
        right.noalias() -= b * (sum_wy_[f] / sum_w_[f]);
    }
    Solution out;
    out.local_gradient = Matrix(groups_, globals_);
    if (globals_ > 0) {
        const Eigen::VectorXd scale = normal.diagonal();
        for (Eigen::Index j = 0; j < scale.size(); ++j) {
            // What the locals explain whole leaves only the rounding of the difference.
            const auto whole = static_cast<std::size_t>(j);
            if (!(scale(j) > rounding * normal_(whole, whole))) {
                return fail({.what = fmt::format("Unknown number {} is determined by nothing.", j + 1),
                             .where = "least squares",
                             .mend = "Give it a prior, or leave it out."});
            }
        }
        const Eigen::VectorXd inverse_root = scale.cwiseSqrt().cwiseInverse();
        const Eigen::MatrixXd equal = inverse_root.asDiagonal() * normal * inverse_root.asDiagonal();
        const Eigen::LDLT<Eigen::MatrixXd> factor(equal);
        if (factor.info() != Eigen::Success || factor.vectorD().minCoeff() <= 1e-14) {
            return fail({.what = "Unknowns cannot be told apart by these data.",
                         .where = "least squares",
                         .mend = "Give them priors, or leave some out."});
        }
        const Eigen::VectorXd scaled_right = inverse_root.cwiseProduct(right);
        const Eigen::VectorXd solution = inverse_root.cwiseProduct(factor.solve(scaled_right));
        const Eigen::MatrixXd inverse = factor.solve(Eigen::MatrixXd::Identity(equal.rows(), equal.cols()));
        out.globals = vector_of(solution);
        out.global_covariance = matrix_of(inverse_root.asDiagonal() * inverse * inverse_root.asDiagonal());
    }
    for (std::size_t f = 0; f < groups_; ++f) {
        const bool determined = sum_w_[f] > 0.0;
        out.determined.push_back(determined);
        double local = determined ? sum_wy_[f] / sum_w_[f] : 0.0;
        for (std::size_t j = 0; j < globals_ && determined; ++j) {
            const double gradient = -sum_wb_(f, j) / sum_w_[f];
            out.local_gradient(f, j) = gradient;
            local += gradient * out.globals[j];
        }
        out.locals.push_back(local);
        out.local_variance_given_globals.push_back(determined ? 1.0 / sum_w_[f] : 0.0);
    }
    return out;
}

}  // namespace emberline::numerics
