// SPDX-License-Identifier: MIT
// night/star_colours — whether the stars' colours in a mosaic's blue and red pixels agree with the sequence:
// a pattern read wrongly exchanges them. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "night/solve_band.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// For each instrument with TB and TR frames: TB − TR of the comparison stars against their catalogue colour
// must rise. Where it falls beyond its error, the pattern is doubted: a remark, and a caveat of its three
// bands.
void doubt_patterns(std::vector<BandSolution>& solutions, const standard::Sequence& sequence,
                    std::vector<std::string>& remarks);

}  // namespace emberline::night
