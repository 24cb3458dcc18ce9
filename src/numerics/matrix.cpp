// SPDX-License-Identifier: MIT
#include "numerics/matrix.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace emberline::numerics {

Matrix cholesky_lower(const Matrix& a) {
    const std::size_t n = a.rows();
    double largest = 0.0;
    for (std::size_t i = 0; i < n; ++i)
        largest = std::max(largest, std::abs(a(i, i)));
    // A pivot this small is rounding: the direction carries no variance.
    const double least = 64.0 * std::numeric_limits<double>::epsilon() * std::max(largest, 1e-300);
    Matrix lower(n, n);
    for (std::size_t j = 0; j < n; ++j) {
        double pivot = a(j, j);
        for (std::size_t k = 0; k < j; ++k)
            pivot -= lower(j, k) * lower(j, k);
        const bool flat = pivot <= least;
        lower(j, j) = std::sqrt(std::max(pivot, least));
        // A direction without variance has no covariance either: what is left of it is rounding.
        for (std::size_t i = j + 1; i < n && !flat; ++i) {
            double sum = a(i, j);
            for (std::size_t k = 0; k < j; ++k)
                sum -= lower(i, k) * lower(j, k);
            lower(i, j) = sum / lower(j, j);
        }
    }
    return lower;
}

std::vector<double> solve_cholesky(const Matrix& lower, std::vector<double> b) {
    const std::size_t n = lower.rows();
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t k = 0; k < i; ++k)
            b[i] -= lower(i, k) * b[k];
        b[i] /= lower(i, i);
    }
    for (std::size_t i = n; i-- > 0;) {
        for (std::size_t k = i + 1; k < n; ++k)
            b[i] -= lower(k, i) * b[k];
        b[i] /= lower(i, i);
    }
    return b;
}

std::vector<double> multiply(const Matrix& a, const std::vector<double>& x) {
    std::vector<double> y(a.rows(), 0.0);
    for (std::size_t r = 0; r < a.rows(); ++r) {
        for (std::size_t c = 0; c < a.columns(); ++c)
            y[r] += a(r, c) * x[c];
    }
    return y;
}

double quadratic_form(const Matrix& a, const std::vector<double>& x, const std::vector<double>& y) {
    const std::vector<double> ay = multiply(a, y);
    double sum = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i)
        sum += x[i] * ay[i];
    return sum;
}

}  // namespace emberline::numerics
