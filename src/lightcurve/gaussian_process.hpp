// SPDX-License-Identifier: MIT
// lightcurve/gaussian_process — a light curve without a formula: a Gaussian process with a Matérn covariance
// in state-space form (Hartikainen & Särkkä 2010; Särkkä & Solin 2019), so that the cost grows with the
// number of points and not with its cube. Common errors, offsets and the mean line come on top as few
// vectors.
#pragma once

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

enum class Smoothness { matern_3_2, matern_5_2 };

// Magnitude = a straight line + the process + noise. The line has priors so wide (10 mag about the points'
// median, 1 mag/d) that only the points speak; beyond the points the curve falls back to it within about a
// time scale. A supernova's light changes fast at first and slowly in its tail: where that is clearly
// likelier, the process runs on a clock that slows down with age (process_clock.hpp), and a remark says so.
// Amplitude, time scale and, where it gains as in fit(), the extra scatter are those of the largest marginal
// likelihood, with weak priors (process_search.hpp); of few points, the prediction sums over others too.
// Fluxes, limits and outliers count as in fit(): each is replaced by the Gaussian that touches its likelihood
// at the smoothed curve, in turns until it stands still (Laplace's method; for the Student-t a bound). To be
// honest: errors are right for light that is as rough as the process. Of curves as smooth as a formula, times
// of maximum and fades have errors too large by 1.8 with ν = 3/2 and 1.4 with 5/2, magnitudes at maximum
// by 1.3 and 1.1. A drop that falls into a gap is not foreseen.
//
// A CurveFit like any other, named "gaussian-process-3/2" or "gaussian-process-5/2", with these conventions:
// - parameters: amplitude (mag) and time_scale (d), errors by the curvature of the marginal likelihood;
// - minus_two_log_likelihood: process and common errors integrated over, the line at its best; for bic and
//   aicc the line's two numbers and a clock of its own count beside the scales. Against a formula's this is a
//   rough guide: there every parameter is fitted, here the curve is averaged over;
// - chi2: squared residuals from the smoothed curve; dof: rows less the curve's own degrees of freedom, the
//   trace of the matrix that smooths them, so that chi2 ≈ dof where the errors are right.
// Problem: as fit(), and fewer than 5 detections.
[[nodiscard]] Result<CurveFit> fit_gaussian_process(const LightCurve& curve, Smoothness smoothness,
                                                    const FitOptions& options = {});

}  // namespace emberline::lightcurve
