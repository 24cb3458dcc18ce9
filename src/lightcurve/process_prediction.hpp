// SPDX-License-Identifier: MIT
// lightcurve/process_prediction — of a Gaussian process about a straight line: one posterior, or several,
// each with the scales that the points leave possible.
#pragma once

#include <memory>
#include <vector>

#include "lightcurve/prediction.hpp"
#include "lightcurve/process_clock.hpp"
#include "numerics/matern_filter.hpp"

namespace emberline::lightcurve {

// The line has priors so wide that only the points speak.
inline constexpr std::size_t free_of_mean = 2;
// The filter's terms for a value at that time: the common errors' (zeros: none of them), then the line's.
[[nodiscard]] std::vector<double> process_basis(double days, std::size_t commons);

struct WeightedPosterior {
    double weight = 1.0;
    numerics::MaternPosterior posterior;
};

// What the posteriors' numbers count from.
struct ProcessFrame {
    double reference_bjd_tdb = 0.0;
    double centre_mag = 0.0;
    std::size_t commons = 0;
    ProcessClock clock;  // for days since the reference
};
// Weights sum to 1. The variance of a magnitude is that of the mixture; each draw is of one of the
// posteriors.
[[nodiscard]] std::shared_ptr<const Prediction> process_prediction(std::vector<WeightedPosterior> posteriors,
                                                                   const ProcessFrame& frame);

}  // namespace emberline::lightcurve
