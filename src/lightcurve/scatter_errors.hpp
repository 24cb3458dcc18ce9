// SPDX-License-Identifier: MIT
// lightcurve/scatter_errors — errors for points that came without: from how far each lies off the line
// between its neighbours in time, series by series.
#pragma once

#include <string>
#include <vector>

#include "lightcurve/light_curve.hpp"

namespace emberline::lightcurve {

// Replaces the random error of every point with err_is_guess, one value a series and band; a remark says what
// was done and from how many. A neighbour is of another night (half a day away): what differs from night to
// night is a part of the error, and the telescopes of one night may agree by chance. Only the closer half of
// the neighbours counts, for a curve bends between distant ones; within one night the next points do. The
// scale is the median of the deviations' sizes, so that up to half of them may be wild. Too few neighbours,
// or no scatter at all: the guess stays, and the remark says so. Points with an error of their own stay as
// they are and do not count. err_is_guess stays true: the error is still not the observer's.
[[nodiscard]] std::vector<std::string> errors_from_scatter(LightCurve& curve);

}  // namespace emberline::lightcurve
