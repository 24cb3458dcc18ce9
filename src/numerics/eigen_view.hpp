// SPDX-License-Identifier: MIT
// numerics/eigen_view — our matrices as Eigen's, without copying. Private to this room.
#pragma once

#include <Eigen/Dense>
#include <span>

#include "numerics/matrix.hpp"

namespace emberline::numerics {

using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

inline Eigen::Map<const RowMajor> view(const Matrix& m) {
    return {m.values().data(), static_cast<Eigen::Index>(m.rows()), static_cast<Eigen::Index>(m.columns())};
}
inline Eigen::Map<const Eigen::VectorXd> view(std::span<const double> v) {
    return {v.data(), static_cast<Eigen::Index>(v.size())};
}
inline Matrix matrix_of(const Eigen::MatrixXd& m) {
    Matrix out(static_cast<std::size_t>(m.rows()), static_cast<std::size_t>(m.cols()));
    for (Eigen::Index r = 0; r < m.rows(); ++r) {
        for (Eigen::Index c = 0; c < m.cols(); ++c)
            out(static_cast<std::size_t>(r), static_cast<std::size_t>(c)) = m(r, c);
    }
    return out;
}
inline std::vector<double> vector_of(const Eigen::VectorXd& v) {
    return {v.data(), v.data() + v.size()};
}

}  // namespace emberline::numerics
