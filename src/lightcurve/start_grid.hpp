// SPDX-License-Identifier: MIT
// lightcurve/start_grid — starts for models that are linear in some of their parameters: those of the shape
// come from a grid, the others from least absolute residuals, which a few bad points do not move far.
#pragma once

#include <functional>
#include <span>
#include <vector>

#include "lightcurve/model.hpp"
#include "lightcurve/samples.hpp"

namespace emberline::lightcurve {

// One place of the grid, and its linear parameters at their best. The lower `misfit`, the likelier.
struct StartTrial {
    std::vector<double> shape, linear;
    double misfit = 0.0;
};

// Values of the functions that the linear parameters multiply, at a time, into `basis`.
using Basis = std::function<void(double days, std::span<const double> shape, std::span<double> basis)>;

// Trials for every shape, the likeliest first. The priors, one a linear parameter, keep what the samples do
// not reach at sensible values.
[[nodiscard]] std::vector<StartTrial> grid_starts(std::span<const Sample> samples, const Basis& basis,
                                                  std::span<const Prior> priors,
                                                  const std::vector<std::vector<double>>& shapes);

// The likeliest `count` trials of which each differs from those before it by `apart` or more in some shape
// parameter: a second place of the same hill is no second chance.
[[nodiscard]] std::vector<StartTrial> distinct_starts(const std::vector<StartTrial>& trials,
                                                      std::span<const double> apart, std::size_t count);

// Evenly spaced, both ends included; `count` of at least 2.
[[nodiscard]] std::vector<double> evenly(double from, double to, std::size_t count);

}  // namespace emberline::lightcurve
