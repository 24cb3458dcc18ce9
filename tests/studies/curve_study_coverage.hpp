// SPDX-License-Identifier: MIT
// tests/studies/curve_study_coverage — counts how often truths lie inside the errors that fits give.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "lightcurve/figures.hpp"
#include "numerics/random.hpp"
#include "quantities/value_with_error.hpp"

namespace curve_study {

// (value − truth) over the error on the side of the truth.
struct Pulls {
    std::vector<std::string> order;  // of the lines
    std::map<std::string, std::vector<double>> of;
    void add(const std::string& name, const emberline::ValueWithError& found, double truth);
    void add(const std::string& name, const emberline::lightcurve::Figure& found, double truth);
    void join(const Pulls& others);
};

struct Outcome {
    Pulls pulls;
    std::string failure;  // empty: fitted
    std::size_t points = 0, limits = 0;
};

// A line whose coverage is known not to be Gaussian: what it is, and why.
struct Exception {
    std::string line;  // name of the parameter or figure
    double expected_1sigma = 0.0, expected_2sigma = 0.0;
    std::string why;
};

// Calls `one` for each curve, with random numbers of its own, so that nothing depends on the threads.
void over_curves(std::size_t curves, unsigned threads, std::uint64_t first_seed,
                 const std::function<void(std::size_t curve, emberline::numerics::Random& random)>& one);

std::vector<Outcome> many(std::size_t curves, unsigned threads, std::uint64_t first_seed,
                          const std::function<Outcome(emberline::numerics::Random&)>& one);

double share_within(const std::vector<double>& pulls, double sigma);

// Prints the table of a model; how many of its lines are out of bounds. Within 1 sigma: 0.6827 give or take
// the larger of 0.06 and 3 binomial errors (4 in a short run); within 2 sigma: 0.9545 likewise, with 0.03. An
// exception widens that to its own expectation, give or take as many binomial errors.
std::size_t report(const std::string& title, const std::vector<Outcome>& outcomes,
                   const std::vector<Exception>& exceptions, double most_failures);

}  // namespace curve_study
