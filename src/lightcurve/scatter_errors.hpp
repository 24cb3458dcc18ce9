// SPDX-License-Identifier: MIT
// lightcurve/scatter_errors — errors for points that came without: from how far each lies off the line
// between its neighbours in time, series by series.
#pragma once

#include <string>
#include <vector>

#include "lightcurve/light_curve.hpp"

namespace emberline::lightcurve {

// Replaces the random error of every point with err_is_guess, one value a series and band; a remark says what
// was done and from how many. Too few neighbours: the guess stays, and the remark says so.
[[nodiscard]] std::vector<std::string> errors_from_scatter(LightCurve& curve);

}  // namespace emberline::lightcurve
