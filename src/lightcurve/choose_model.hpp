// SPDX-License-Identifier: MIT
// lightcurve/choose_model — which of several fits the points ask for, and why, in a sentence.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

// ΔBIC below this is no evidence, from the second on strong (Kass & Raftery 1995, JASA 90, 773).
inline constexpr double no_evidence = 2.0, strong_evidence = 6.0;

struct ModelChoice {
    std::optional<std::size_t> chosen;  // index; absent: no fits, or they cannot be told apart
    std::string why;                    // "broken-line-1: its BIC is 14.2 below that of straight-line."
    std::vector<double> weights;        // one a fit, exp(−ΔBIC/2) normalised; 0 for those on other points
};

// Only fits of the same points compare. Within no_evidence the one with fewer parameters wins and `why` says
// what it cannot be told from; with as many parameters, and curves that differ by more than their errors,
// nothing is chosen.
[[nodiscard]] ModelChoice choose_model(const std::vector<CurveFit>& fits);

}  // namespace emberline::lightcurve
