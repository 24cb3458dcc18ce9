// SPDX-License-Identifier: MIT
// tests/studies/curve_study_cases — for every model, curves of known truth and the fit of one of them.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "curve_study_coverage.hpp"

namespace curve_study {

struct Case {
    std::string title;
    std::function<Outcome(emberline::numerics::Random&)> one;
    std::vector<Exception> exceptions;
    double most_failures = 0.005;  // share of the curves
};
std::vector<Case> cases();

// Level, rates and breaks of a broken line, as its model counts them; breaks in days since the first night.
std::vector<double> broken_line_values(std::size_t breaks, double to_d, double least_step, double most_step,
                                       emberline::numerics::Random& random);

}  // namespace curve_study
