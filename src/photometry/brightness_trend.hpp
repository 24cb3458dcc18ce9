// SPDX-License-Identifier: MIT
// photometry/brightness_trend — how something about stars goes with their brightness: a straight line that a
// few odd stars do not bend, and what is left of its slope without the star that holds it most.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace emberline::photometry {

struct TrendPoint {
    double x = 0.0;
    double y = 0.0;
    double err = 0.0;  // of y, one sigma, above 0
};

struct Trend {
    double slope = 0.0;
    double slope_err = 0.0;     // from the errors and from the scatter about the line, whichever says more
    double significance = 0.0;  // (slope − expected) / error, of the line that comes nearest to `expected`
                                // when any one star is left out
    double range = 0.0;         // of x
    std::size_t points = 0;
};

// `usual_scatter` of y beyond the errors counts as much as three stars' worth of what is measured, so that
// few stars that agree by chance do not count as certain. Absent: fewer than four points, or no range of x.
[[nodiscard]] std::optional<Trend> brightness_trend(std::span<const TrendPoint> points, double expected,
                                                    double usual_scatter);

}  // namespace emberline::photometry
