// SPDX-License-Identifier: MIT
// lightcurve/gaussian_process — a light curve without a formula: a Gaussian process with a Matérn covariance
// in state-space form (Hartikainen & Särkkä 2010; Särkkä & Solin 2019), so that the cost grows with the
// number of points and not with its cube. Common errors, offsets and the mean line come on top as few
// vectors.
#pragma once

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

enum class Smoothness { matern_3_2, matern_5_2 };

// Mean: a straight line under wide priors. Hyperparameters (amplitude, time scale) by maximum marginal
// likelihood within sensible bounds; likewise the extra scatter. Fluxes, limits and outliers count as in
// fit(): each is replaced by the Gaussian that touches its likelihood at the smoothed curve, in turns
// (Laplace). The result is a CurveFit like any other, named "gaussian-process-3/2" or "gaussian-process-5/2",
// with the hyperparameters as parameters; its prediction and draws are those of the process. Problem: as
// fit(), and fewer than 5 detections.
[[nodiscard]] Result<CurveFit> fit_gaussian_process(const LightCurve& curve, Smoothness smoothness,
                                                    const FitOptions& options = {});

}  // namespace emberline::lightcurve
