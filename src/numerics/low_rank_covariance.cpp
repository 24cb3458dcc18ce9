// SPDX-License-Identifier: MIT
// Notation: D the diagonal, V the vectors, K = I + Vᵀ D⁻¹ V and L its Cholesky factor.
#include "numerics/low_rank_covariance.hpp"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "numerics/eigen_view.hpp"
#include "numerics/least_squares.hpp"

namespace emberline::numerics {

Result<LowRankCovariance> LowRankCovariance::make(std::vector<double> variances, Matrix vectors) {
    for (std::size_t i = 0; i < variances.size(); ++i) {
        if (!(variances[i] > 0.0) || !std::isfinite(variances[i])) {
            return fail(
                {.what = fmt::format("Variance number {} is {:g}, not positive.", i + 1, variances[i]),
                 .where = "covariance",
                 .mend = "Give every value an error above zero."});
        }
    }
    if (vectors.columns() > 0 && vectors.rows() != variances.size()) {
        return fail({.what = fmt::format("{} common errors were given for {} values.", vectors.rows(),
                                         variances.size()),
                     .where = "covariance",
                     .mend = "Give each value its part of every common error."});
    }
    for (const double v : vectors.values()) {
        if (!std::isfinite(v)) {
            return fail({.what = "A common error is not a finite number.",
                         .where = "covariance",
                         .mend = "Leave out the value that it belongs to."});
        }
    }
    LowRankCovariance c;
    c.variances_ = std::move(variances);
    c.vectors_ = std::move(vectors);
    const std::size_t k = c.vectors_.columns();
    Matrix inner(k, k);
    for (std::size_t i = 0; i < c.variances_.size(); ++i) {
        for (std::size_t a = 0; a < k; ++a) {
            for (std::size_t b = 0; b < k; ++b)
                inner(a, b) += c.vectors_(i, a) * c.vectors_(i, b) / c.variances_[i];
        }
    }
    for (std::size_t a = 0; a < k; ++a)
        inner(a, a) += 1.0;
    c.inner_lower_ = cholesky_lower(inner);
    return c;
}

std::vector<double> LowRankCovariance::solve(std::span<const double> x) const {
    const std::size_t n = size(), k = vectors_.columns();
    std::vector<double> out(n);
    Eigen::VectorXd inner = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(k));
    for (std::size_t i = 0; i < n; ++i) {
        out[i] = x[i] / variances_[i];
        for (std::size_t a = 0; a < k; ++a)
            inner(static_cast<Eigen::Index>(a)) += vectors_(i, a) * out[i];
    }
    if (k == 0) return out;
    const auto lower = view(inner_lower_).triangularView<Eigen::Lower>();
    lower.solveInPlace(inner);
    view(inner_lower_).transpose().triangularView<Eigen::Upper>().solveInPlace(inner);
    for (std::size_t i = 0; i < n; ++i) {
        double shared = 0.0;
        for (std::size_t a = 0; a < k; ++a)
            shared += vectors_(i, a) * inner(static_cast<Eigen::Index>(a));
        out[i] -= shared / variances_[i];
    }
    return out;
}

double LowRankCovariance::chi2(std::span<const double> residuals) const {
    const std::vector<double> solved = solve(residuals);
    double sum = 0.0;
    for (std::size_t i = 0; i < solved.size(); ++i)
        sum += residuals[i] * solved[i];
    return sum;
}

double LowRankCovariance::log_determinant() const {
    double sum = 0.0;
    for (const double v : variances_)
        sum += std::log(v);
    for (std::size_t a = 0; a < inner_lower_.rows(); ++a)
        sum += 2.0 * std::log(inner_lower_(a, a));
    return sum;
}

double LowRankCovariance::minus_two_log_likelihood(std::span<const double> residuals) const {
    return chi2(residuals) + log_determinant() +
           static_cast<double>(size()) * std::log(2.0 * std::numbers::pi);
}

Result<GeneralisedFit> generalised_fit(const Matrix& a, std::span<const double> y,
                                       const LowRankCovariance& c) {
    const std::size_t n = a.rows(), p = a.columns();
    if (p == 0 || n < p || y.size() != n || c.size() != n) {
        return fail({.what = fmt::format("{} values cannot determine {} parameters.", n, p),
                     .where = "generalised fit",
                     .mend = "Give at least as many values as there are parameters."});
    }
    // C⁻¹ A, a column at a time, then the normal equations in columns of equal length.
    Eigen::MatrixXd solved(static_cast<Eigen::Index>(n), static_cast<Eigen::Index>(p));
    for (std::size_t j = 0; j < p; ++j) {
        std::vector<double> column(n);
        for (std::size_t i = 0; i < n; ++i)
            column[i] = a(i, j);
        solved.col(static_cast<Eigen::Index>(j)) = view(c.solve(column));
    }
    const Eigen::MatrixXd normal = view(a).transpose() * solved;
    const Eigen::VectorXd right = solved.transpose() * view(y);
    const Eigen::VectorXd scale = normal.diagonal();
    if (!(scale.minCoeff() > 0.0) || !normal.allFinite()) {
        return fail({.what = "A parameter is determined by none of the values.",
                     .where = "generalised fit",
                     .mend = "Leave it out, or add values that depend on it."});
    }
    const Eigen::VectorXd inverse_root = scale.cwiseSqrt().cwiseInverse();
    const Eigen::MatrixXd equal = inverse_root.asDiagonal() * normal * inverse_root.asDiagonal();
    const Eigen::LDLT<Eigen::MatrixXd> factor(equal);
    if (factor.info() != Eigen::Success || factor.vectorD().minCoeff() <= 1e-12) {
        return fail({.what = "The parameters cannot be told apart by these values.",
                     .where = "generalised fit",
                     .mend = "Leave out a parameter, or add values that differ in it."});
    }
    GeneralisedFit fit;
    const Eigen::VectorXd scaled_right = inverse_root.cwiseProduct(right);
    const Eigen::VectorXd solution = inverse_root.cwiseProduct(factor.solve(scaled_right));
    const Eigen::MatrixXd inverse = factor.solve(Eigen::MatrixXd::Identity(equal.rows(), equal.cols()));
    fit.parameters = vector_of(solution);
    fit.covariance = matrix_of(inverse_root.asDiagonal() * inverse * inverse_root.asDiagonal());
    std::vector<double> rest(n);
    for (std::size_t i = 0; i < n; ++i) {
        rest[i] = y[i];
        for (std::size_t j = 0; j < p; ++j)
            rest[i] -= a(i, j) * fit.parameters[j];
    }
    fit.chi2 = c.chi2(rest);
    fit.dof = n - p;
    return fit;
}

}  // namespace emberline::numerics
