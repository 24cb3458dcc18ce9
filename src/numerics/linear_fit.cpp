// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <cmath>

#include "numerics/eigen_view.hpp"
#include "numerics/least_squares.hpp"

namespace emberline::numerics {

Result<LinearFit> linear_fit(const Matrix& a, std::span<const double> y, std::span<const double> weights) {
    const auto n = static_cast<Eigen::Index>(a.rows());
    const auto p = static_cast<Eigen::Index>(a.columns());
    if (p == 0 || n < p || y.size() != a.rows() || (!weights.empty() && weights.size() != a.rows())) {
        return fail({.what = fmt::format("{} values cannot determine {} parameters.", n, p),
                     .where = "linear fit",
                     .mend = "Give at least as many values as there are parameters."});
    }
    Eigen::MatrixXd scaled = view(a);
    Eigen::VectorXd right = view(y);
    for (Eigen::Index i = 0; i < n && !weights.empty(); ++i) {
        const double root = std::sqrt(weights[static_cast<std::size_t>(i)]);
        scaled.row(i) *= root;
        right(i) *= root;
    }
    // Columns of one length: polynomials of high degree lose digits otherwise.
    Eigen::VectorXd length = scaled.colwise().norm();
    for (Eigen::Index j = 0; j < p; ++j) {
        if (length(j) > 0.0) scaled.col(j) /= length(j);
    }
    const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(scaled);
    if (!scaled.allFinite() || !right.allFinite() || qr.rank() < p || !(length.minCoeff() > 0.0)) {
        return fail({.what = "The parameters cannot be told apart by these values.",
                     .where = "linear fit",
                     .mend = "Leave out a parameter, or add values that differ in it."});
    }
    Eigen::VectorXd solution = qr.solve(right);
    solution += qr.solve(right - scaled * solution);  // one refinement, for the last digits
    const Eigen::VectorXd rest = right - scaled * solution;

    const Eigen::MatrixXd upper = qr.matrixR().topLeftCorner(p, p).triangularView<Eigen::Upper>();
    const Eigen::MatrixXd inverse =
        upper.triangularView<Eigen::Upper>().solve(Eigen::MatrixXd::Identity(p, p));
    const Eigen::MatrixXd permuted =
        qr.colsPermutation() * (inverse * inverse.transpose()) * qr.colsPermutation().transpose();
    LinearFit fit;
    const Eigen::VectorXd inverse_length = length.cwiseInverse();
    fit.parameters = vector_of(solution.cwiseProduct(inverse_length));
    fit.covariance = matrix_of(inverse_length.asDiagonal() * permuted * inverse_length.asDiagonal());
    fit.chi2 = rest.squaredNorm();
    fit.dof = static_cast<std::size_t>(n - p);
    return fit;
}

}  // namespace emberline::numerics
