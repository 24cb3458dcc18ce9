// SPDX-License-Identifier: MIT
// lightcurve/robust_noise — how much of the scatter is a few bad points, and how much is everybody's.
#pragma once

#include "lightcurve/likelihood.hpp"

namespace emberline::lightcurve {

// A point within this many robust sigma keeps its full weight: 0.3 % of Gaussian points lie outside, so that
// errors stay calibrated where nothing is wrong.
inline constexpr double outlier_sigma = 3.0;
// Enough to silence a point that is off by 100 sigma, and far from what rounding would do to a covariance.
inline constexpr double least_weight = 1e-8;

// Weights of the rows at that place. Residuals are judged after the common errors took their most probable
// values, in units of the larger of their error and of their robust spread; so never more than half of the
// rows can be outside. `gently`: a weight falls as 1/z outside (a way in from a poor start), else as 1/z⁴.
// `weights` are those that `at` was made with.
[[nodiscard]] std::vector<double> robust_weights(const Expansion& at, const std::vector<double>& weights,
                                                 bool gently);

// σ_x by restricted maximum likelihood (Patterson & Thompson 1971), which knows that the parameters were
// fitted to the same points; 0 unless it raises 2 ln L by more than `least_gain`.
[[nodiscard]] Result<double> find_extra_scatter(const Likelihood& likelihood,
                                                const std::vector<double>& parameters, Noise noise,
                                                double least_gain);

}  // namespace emberline::lightcurve
