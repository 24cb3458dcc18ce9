// SPDX-License-Identifier: MIT
#include "lightcurve/normal_matrix.hpp"

#include <cmath>

namespace emberline::lightcurve {
namespace {

Problem not_determined() {
    return {.what = "The points do not determine the parameters of this model.",
            .where = {},
            .mend = "Add points at other times, or choose a simpler model."};
}

}  // namespace

void add_row(numerics::Matrix& normal, const numerics::Matrix& slopes, std::size_t row, double weight) {
    const std::size_t n = normal.rows();
    const double* x = slopes.values().data() + row * n;
    for (std::size_t i = 0; i < n; ++i) {
        if (x[i] == 0.0) continue;  // most common errors touch few points
        const double scaled = weight * x[i];
        for (std::size_t j = 0; j <= i; ++j)
            normal(i, j) += scaled * x[j];
    }
}

void mirror(numerics::Matrix& normal) {
    for (std::size_t i = 0; i < normal.rows(); ++i) {
        for (std::size_t j = 0; j < i; ++j)
            normal(j, i) = normal(i, j);
    }
}

Result<NormalFactor> NormalFactor::make(const numerics::Matrix& normal) {
    // In units of the diagonal a pivot is the part of a parameter that no other can stand in for.
    constexpr double least_pivot = 1e-13;
    const std::size_t n = normal.rows();
    NormalFactor factor;
    factor.scale_.resize(n);
    for (std::size_t j = 0; j < n; ++j) {
        if (!(normal(j, j) > 0.0) || !std::isfinite(normal(j, j))) return fail(not_determined());
        factor.scale_[j] = 1.0 / std::sqrt(normal(j, j));
    }
    numerics::Matrix scaled(n, n);
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j)
            scaled(i, j) = normal(i, j) * factor.scale_[i] * factor.scale_[j];
    }
    factor.lower_ = numerics::cholesky_lower(scaled);
    for (std::size_t j = 0; j < n; ++j) {
        if (!(factor.lower_(j, j) * factor.lower_(j, j) > least_pivot)) return fail(not_determined());
    }
    return factor;
}

std::vector<double> NormalFactor::solve(std::vector<double> right) const {
    for (std::size_t j = 0; j < right.size(); ++j)
        right[j] *= scale_[j];
    right = numerics::solve_cholesky(lower_, std::move(right));
    for (std::size_t j = 0; j < right.size(); ++j)
        right[j] *= scale_[j];
    return right;
}

numerics::Matrix NormalFactor::inverse() const {
    const std::size_t n = scale_.size();
    numerics::Matrix inverse(n, n);
    for (std::size_t j = 0; j < n; ++j) {
        std::vector<double> unit(n);
        unit[j] = 1.0;
        const auto column = solve(std::move(unit));
        for (std::size_t i = 0; i < n; ++i)
            inverse(i, j) = column[i];
    }
    return inverse;
}

double NormalFactor::log_determinant() const {
    double sum = 0.0;
    for (std::size_t j = 0; j < scale_.size(); ++j)
        sum += 2.0 * std::log(lower_(j, j) / scale_[j]);
    return sum;
}

}  // namespace emberline::lightcurve
