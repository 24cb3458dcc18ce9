// SPDX-License-Identifier: MIT
// lightcurve/every_fit — what every fit of a light curve does, whatever it fits: what it refuses, its epoch,
// the numbers by which fits compare, and remarks.
#pragma once

#include <string>
#include <vector>

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

// One bad point can be told from the others when at least this many more rows than parameters speak.
inline constexpr std::size_t spare_rows_for_outliers = 3;
inline constexpr std::size_t fewest_for_extra_scatter = 4;

[[nodiscard]] Problem in_curve(const LightCurve& curve, Problem problem);
// Problem: ends that are no numbers, or the wrong way round.
[[nodiscard]] Result<void> check_options(const FitOptions& options);
// Problem: a point that check_point() refuses, fewer detections than `needed`, times on two scales or all
// one.
[[nodiscard]] Result<void> check_points(const LightCurve& curve, const std::vector<std::size_t>& used,
                                        const std::string& model, std::size_t needed);
// Where level and rate are least correlated. A flux below its error weighs as if it were as large as that.
[[nodiscard]] double weighted_mean_time(const LightCurve& curve, const std::vector<std::size_t>& used);

// BIC and AICc, for so many free parameters beside σ_x and ν, which count where they were needed.
void set_criteria(CurveFit& fit, std::size_t free_parameters);
void remark_on_scatter(CurveFit& fit, double chi2_before);
void remark_on_outliers(CurveFit& fit);

}  // namespace emberline::lightcurve
