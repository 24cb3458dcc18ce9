// SPDX-License-Identifier: MIT
// numerics/matrix — a small dense matrix as a plain value, so that no other room needs to know Eigen.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace emberline::numerics {

// Row-major, zero-initialised. Meant for tens to hundreds of rows: parameters, stars, never frames × frames.
class Matrix {
  public:
    Matrix() = default;
    Matrix(std::size_t rows, std::size_t columns) : rows_(rows), columns_(columns), v_(rows * columns) {}
    [[nodiscard]] std::size_t rows() const { return rows_; }
    [[nodiscard]] std::size_t columns() const { return columns_; }
    double& operator()(std::size_t r, std::size_t c) { return v_[r * columns_ + c]; }
    double operator()(std::size_t r, std::size_t c) const { return v_[r * columns_ + c]; }
    [[nodiscard]] const std::vector<double>& values() const { return v_; }
    // Of the matrix, as long as it lives and keeps its size.
    [[nodiscard]] std::span<const double> row(std::size_t r) const {
        return std::span(v_).subspan(r * columns_, columns_);
    }
    bool operator==(const Matrix&) const = default;

  private:
    std::size_t rows_ = 0, columns_ = 0;
    std::vector<double> v_;
};

// Lower-triangular L with L Lᵀ = A + tiny ridge where A is only semi-definite. A must be square.
[[nodiscard]] Matrix cholesky_lower(const Matrix& a);
// x of L Lᵀ x = b.
[[nodiscard]] std::vector<double> solve_cholesky(const Matrix& lower, std::vector<double> b);
[[nodiscard]] std::vector<double> multiply(const Matrix& a, const std::vector<double>& x);
// xᵀ A y
[[nodiscard]] double quadratic_form(const Matrix& a, const std::vector<double>& x,
                                    const std::vector<double>& y);

}  // namespace emberline::numerics
