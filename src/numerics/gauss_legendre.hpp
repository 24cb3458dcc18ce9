// SPDX-License-Identifier: MIT
// numerics/gauss_legendre — few-point quadrature over [−1/2, 1/2], the width of a pixel: n points are exact
// to the order 2n − 1 (Abramowitz & Stegun 1964, table 25.4, halved).
#pragma once

#include <array>
#include <cstddef>

namespace emberline::numerics {

struct QuadratureRule {
    std::size_t n;
    std::array<double, 5> at, weight;  // the weights sum to 1
};
inline constexpr QuadratureRule one_point{1, {0.0}, {1.0}};
inline constexpr QuadratureRule two_points{2, {-0.28867513459481287, 0.28867513459481287}, {0.5, 0.5}};
inline constexpr QuadratureRule three_points{
    3, {-0.38729833462074170, 0.0, 0.38729833462074170}, {5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0}};
inline constexpr QuadratureRule five_points{
    5,
    {-0.45308992296933199, -0.26923465505284155, 0.0, 0.26923465505284155, 0.45308992296933199},
    {0.11846344252809454, 0.23931433524968324, 0.28444444444444444, 0.23931433524968324,
     0.11846344252809454}};

}  // namespace emberline::numerics
