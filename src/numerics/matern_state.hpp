// SPDX-License-Identifier: MIT
// numerics/matern_state — one Matérn process as a state that moves: f and its first one or two derivatives, D
// numbers in all, each derivative in units of amplitude and of 1/λ, so that all are of one size.
// Notation: λ = √(2ν) / time scale; x = λ · elapsed; F what becomes of the state, Q what is added to its
// covariance meanwhile. Private to this room.
// Source: Särkkä & Solin 2019, section 12.3; the integrals of Q in closed form are worked out here.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>

#include "numerics/matern_filter.hpp"

namespace emberline::numerics {

template <std::size_t D>
using StateColumn = std::array<double, D>;
template <std::size_t D>
using StateSquare = std::array<std::array<double, D>, D>;

template <std::size_t D>
[[nodiscard]] StateColumn<D> times(const StateSquare<D>& a, const StateColumn<D>& x) {
    StateColumn<D> y{};
    for (std::size_t i = 0; i < D; ++i) {
        for (std::size_t j = 0; j < D; ++j)
            y[i] += a[i][j] * x[j];
    }
    return y;
}

template <std::size_t D>
[[nodiscard]] StateSquare<D> times(const StateSquare<D>& a, const StateSquare<D>& b) {
    StateSquare<D> c{};
    for (std::size_t i = 0; i < D; ++i) {
        for (std::size_t k = 0; k < D; ++k) {
            for (std::size_t j = 0; j < D; ++j)
                c[i][j] += a[i][k] * b[k][j];
        }
    }
    return c;
}

// A P Aᵀ + C for symmetric P and C, symmetric to the last bit.
template <std::size_t D>
[[nodiscard]] StateSquare<D> carried(const StateSquare<D>& a, const StateSquare<D>& p,
                                     const StateSquare<D>& c) {
    const StateSquare<D> ap = times(a, p);
    StateSquare<D> out = c;
    for (std::size_t i = 0; i < D; ++i) {
        for (std::size_t j = i; j < D; ++j) {
            for (std::size_t k = 0; k < D; ++k)
                out[i][j] += ap[i][k] * a[j][k];
            out[j][i] = out[i][j];
        }
    }
    return out;
}

// Lower L with L Lᵀ = P; a direction without variance gets a column of zeros.
template <std::size_t D>
[[nodiscard]] StateSquare<D> state_cholesky(const StateSquare<D>& p) {
    StateSquare<D> lower{};
    for (std::size_t j = 0; j < D; ++j) {
        double pivot = p[j][j];
        for (std::size_t k = 0; k < j; ++k)
            pivot -= lower[j][k] * lower[j][k];
        if (!(pivot > 1e-15 * p[j][j])) continue;
        lower[j][j] = std::sqrt(pivot);
        for (std::size_t i = j + 1; i < D; ++i) {
            double sum = p[i][j];
            for (std::size_t k = 0; k < j; ++k)
                sum -= lower[i][k] * lower[j][k];
            lower[i][j] = sum / lower[j][j];
        }
    }
    return lower;
}

// A P⁻¹ for symmetric P, directions without variance left out.
template <std::size_t D>
[[nodiscard]] StateSquare<D> over(const StateSquare<D>& a, const StateSquare<D>& p) {
    const StateSquare<D> lower = state_cholesky(p);
    const auto inverse = [&](std::size_t j) { return lower[j][j] > 0.0 ? 1.0 / lower[j][j] : 0.0; };
    StateSquare<D> out = a;
    for (auto& row : out) {
        for (std::size_t j = 0; j < D; ++j) {
            for (std::size_t k = 0; k < j; ++k)
                row[j] -= row[k] * lower[j][k];
            row[j] *= inverse(j);
        }
        for (std::size_t j = D; j-- > 0;) {
            for (std::size_t k = j + 1; k < D; ++k)
                row[j] -= row[k] * lower[k][j];
            row[j] *= inverse(j);
        }
    }
    return out;
}

// ∫₀ˣ uⁿ e⁻²ᵘ du for n = 0 … N: the highest by a series of positive terms or from the whole integral, the
// others downwards, so that nothing is ever a small difference.
template <std::size_t N>
[[nodiscard]] std::array<double, N + 1> decaying_integrals(double x) {
    const double z = 2.0 * x, decay = std::exp(-z);
    std::array<double, N + 1> gamma{};  // the lower incomplete γ(n + 1, z)
    std::array<double, N + 1> power{};  // zⁿ⁺¹ e⁻ᶻ
    power[0] = z * decay;
    for (std::size_t n = 1; n <= N; ++n)
        power[n] = power[n - 1] * z;
    if (z < 1.0) {
        double term = 1.0 / (N + 1), sum = term;
        for (std::size_t k = 1; term > 1e-17 * sum; ++k) {
            term *= z / static_cast<double>(N + 1 + k);
            sum += term;
        }
        gamma[N] = power[N] * sum;
    } else {
        double factorial = 1.0, term = decay, sum = decay;
        for (std::size_t n = 1; n <= N; ++n) {
            factorial *= static_cast<double>(n);
            term *= z / static_cast<double>(n);
            sum += term;
        }
        gamma[N] = factorial * (1.0 - sum);
    }
    for (std::size_t n = N; n-- > 0;)
        gamma[n] = (gamma[n + 1] + power[n]) / static_cast<double>(n + 1);
    double scale = 0.5;
    for (std::size_t n = 0; n <= N; ++n, scale *= 0.5)
        gamma[n] *= scale;
    return gamma;
}

template <std::size_t D>
struct Motion {
    StateSquare<D> carry{}, added{};  // F, Q
};

// The process of that many state numbers: 2 for ν = 3/2, 3 for ν = 5/2.
template <std::size_t D>
class StateKernel {
  public:
    explicit StateKernel(const Matern& process)
        : variance_(process.amplitude * process.amplitude),
          rate_(std::sqrt(D == 2 ? 3.0 : 5.0) / process.time_scale) {}
    [[nodiscard]] StateSquare<D> at_rest() const;  // the covariance before anything is known
    [[nodiscard]] Motion<D> motion(double elapsed) const;

  private:
    double variance_, rate_;
};

template <>
inline StateSquare<2> StateKernel<2>::at_rest() const {
    return {{{variance_, 0.0}, {0.0, variance_}}};
}

template <>
inline StateSquare<3> StateKernel<3>::at_rest() const {
    const double third = variance_ / 3.0;
    return {{{variance_, 0.0, -third}, {0.0, third, 0.0}, {-third, 0.0, variance_}}};
}

template <>
inline Motion<2> StateKernel<2>::motion(double elapsed) const {
    const double x = rate_ * elapsed, e = std::exp(-x);
    // The response to a kick is e⁻ᵘ (u, 1 − u).
    const auto j = decaying_integrals<2>(x);
    const double q = 4.0 * variance_;
    const double q01 = q * (j[1] - j[2]);
    return {.carry = {{{e * (1.0 + x), e * x}, {-e * x, e * (1.0 - x)}}},
            .added = {{{q * j[2], q01}, {q01, q * (j[0] - 2.0 * j[1] + j[2])}}}};
}

template <>
inline Motion<3> StateKernel<3>::motion(double elapsed) const {
    const double x = rate_ * elapsed, e = std::exp(-x), xx = x * x;
    // The response to a kick is e⁻ᵘ (u²/2, u − u²/2, 1 − 2u + u²/2).
    const auto j = decaying_integrals<4>(x);
    const double q = 16.0 / 3.0 * variance_;
    const double q00 = q * 0.25 * j[4];
    const double q01 = q * (0.5 * j[3] - 0.25 * j[4]);
    const double q02 = q * (0.5 * j[2] - j[3] + 0.25 * j[4]);
    const double q11 = q * (j[2] - j[3] + 0.25 * j[4]);
    const double q12 = q * (j[1] - 2.5 * j[2] + 1.5 * j[3] - 0.25 * j[4]);
    const double q22 = q * (j[0] - 4.0 * j[1] + 5.0 * j[2] - 2.0 * j[3] + 0.25 * j[4]);
    return {.carry = {{{e * (1.0 + x + 0.5 * xx), e * (x + xx), e * 0.5 * xx},
                       {-e * 0.5 * xx, e * (1.0 + x - xx), e * (x - 0.5 * xx)},
                       {e * (0.5 * xx - x), e * (xx - 3.0 * x), e * (1.0 - 2.0 * x + 0.5 * xx)}}},
            .added = {{{q00, q01, q02}, {q01, q11, q12}, {q02, q12, q22}}}};
}

// The state's covariance after one value of f with that noise was seen, in Joseph's form, which stays
// positive; `gain` moves the mean. Returns the variance of the value before it was seen.
template <std::size_t D>
double see(StateSquare<D>& p, StateColumn<D>& gain, double noise) {
    const double seen = p[0][0] + noise;
    StateSquare<D> keep{}, from_noise{};
    for (std::size_t i = 0; i < D; ++i)
        gain[i] = p[i][0] / seen;
    for (std::size_t i = 0; i < D; ++i) {
        keep[i][i] = 1.0;
        keep[i][0] -= gain[i];
        for (std::size_t j = 0; j < D; ++j)
            from_noise[i][j] = gain[i] * gain[j] * noise;
    }
    keep[0][0] = noise / seen;  // 1 − gain without the difference
    p = carried(keep, p, from_noise);
    return seen;
}

}  // namespace emberline::numerics
