// SPDX-License-Identifier: MIT
// stars/match_odds — how often chance does as well.
// Sources: Lang et al. (2010), AJ 139, 1782, section 3 (odds against a uniform background with distractors);
// Desolneux, Moisan & Morel (2000), IJCV 40, 7 (the expected number of false alarms over all that was tried).
#pragma once

#include <cstddef>
#include <vector>

namespace emberline::stars {

// ln of the probability that of n independent tries, each succeeding with probability p, at least k succeed.
[[nodiscard]] double log_binomial_tail(std::size_t n, double p, std::size_t k);

// The probability that leaving 2·pairs_of_freedom more parameters free shrinks χ² to `ratio` of what it was
// or less, where they mean nothing; dof: degrees of freedom left after. The F-test, in the ratio that is
// distributed as Beta(dof/2, pairs_of_freedom): a finite sum.
[[nodiscard]] double chance_of_improvement(double ratio, double dof, std::size_t pairs_of_freedom);

struct StarOnFrame {
    double squared_sigmas = 0.0;  // distance to the nearest reference over its error, squared
    double err_px = 0.1;          // of that distance, one axis
    bool near = false;            // false: no reference that could be meant
};
// ln of the odds that each star is a reference seen with its error, or with probability `distractors`
// anything anywhere on the frame, against all being anything anywhere.
[[nodiscard]] double log_odds_of(const std::vector<StarOnFrame>& stars, std::size_t references_on_frame,
                                 double area_px, double distractors);

}  // namespace emberline::stars
