// SPDX-License-Identifier: MIT
// night/significance — how improbable a star's misfit is, on one scale for all kinds: the sigma of a Gaussian
// that chance exceeds as seldom. And one star's value judged against the others'. Private to this room.
#pragma once

#include <vector>

#include "quantities/value_with_error.hpp"

namespace emberline::night {

// Two-sided; t of `dof` degrees of freedom. Wallace 1959, Annals of Mathematical Statistics 30, 1121: within
// a few per cent for 5 and more degrees of freedom.
[[nodiscard]] double t_in_sigma(double t, double dof);
// One-sided; F the ratio of two variances known from so many degrees of freedom. Paulson 1942, Annals of
// Mathematical Statistics 13, 233: fair for three and more below.
[[nodiscard]] double f_in_sigma(double f, double dof_above, double dof_below);

// The sigma that chance exceeds, in any of `looks` looks, with this probability in all; one-sided looks.
[[nodiscard]] double sigma_of_chance(double chance, double looks);

// A straight line by weighted least squares; `known`: the x differ.
struct Line {
    ValueWithError slope;  // error from the weights, which are 1/σ²
    double mean_x = 0.0, mean_y = 0.0;
    bool known = false;
};
[[nodiscard]] Line line_through(const std::vector<double>& x, const std::vector<double>& y,
                                const std::vector<double>& weight);

// One property of the stars: values with errors, what they may follow (colour, place), and who is trusted.
struct Followed {
    std::vector<double> x;  // one a star
    ValueWithError slope;   // prior: d(value)/dx
};
struct PropertyOfStars {
    std::vector<double> values, errs;
    std::vector<Followed> follows;
    std::vector<bool> trusted, known;
    double scatter_dof = 0.0;  // how many stars' worth of trust the errors deserve beforehand
};
struct Standing {       // of one star against the trusted others
    double miss = 0.0;  // value − what the others make expect
    double err = 0.0;   // of that, with the scatter of the others
    double expected = 0.0;
    double expected_err = 0.0;  // of what the others make expect
    double sigma = 0.0;         // t_in_sigma, with the sign of the miss
    bool judged = false;        // at least two others, and its value known
};
// The others' errors are widened (or narrowed) to how they scatter, as far as their number can tell.
[[nodiscard]] std::vector<Standing> stand_against_others(const PropertyOfStars& property);

}  // namespace emberline::night
