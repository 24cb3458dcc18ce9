// SPDX-License-Identifier: MIT
// numerics/simplex_search — the lowest place of a smooth function of a few numbers whose slopes are not
// known. Source: Nelder & Mead 1965, The Computer Journal 7, 308.
#pragma once

#include <functional>
#include <span>
#include <vector>

#include "numerics/matrix.hpp"

namespace emberline::numerics {

// Values that are not finite count as infinitely high.
using Landscape = std::function<double(std::span<const double>)>;

struct SimplexOptions {
    double first_step = 0.5;  // length of the first simplex's edges, along each number
    double level = 1e-3;      // done when its corners differ by less in height
    double size = 1e-2;       // and lie closer together than this
    int most_evaluations = 400;
};
struct LowestPlace {
    std::vector<double> place;
    double value = 0.0;
    int evaluations = 0;
    bool settled = false;
};
[[nodiscard]] LowestPlace simplex_search(const Landscape& height, std::vector<double> start,
                                         const SimplexOptions& options = {});

// Second derivatives there, by central differences over ± `step`.
[[nodiscard]] Matrix curvature(const Landscape& height, std::span<const double> place, double step);

}  // namespace emberline::numerics
