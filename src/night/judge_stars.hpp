// SPDX-License-Identifier: MIT
// night/judge_stars — the stars of one band and instrument judged against each other, worst first. Private to
// this room.
// One bad star makes the others look bad, since each is measured against the rest. So the star that stands
// out most is taken from the witnesses, all are judged anew by those that are left, and so on; in the end
// each accused star is heard once more by the good ones, and may go free.
#pragma once

#include <vector>

#include "night/audited_star.hpp"
#include "night/star_lights.hpp"

namespace emberline::night {

// From how many sigma on a star is accused, or doubted.
struct AccusedFrom {
    double varies = 0.0, blended = 0.0, catalogue = 0.0;
};
// Chance accuses one star in a whole campaign, of each of the three faults, once in a thousand campaigns; it
// casts doubt (cannot tell) on one in twenty. `stars`: those to be judged, of all bands together.
[[nodiscard]] AccusedFrom accused_from(std::size_t stars);
[[nodiscard]] AccusedFrom doubted_from(std::size_t stars);

// In the order of the stars. `may_witness`: stars that were not set aside.
[[nodiscard]] std::vector<AuditedStar> judge_stars(const StarLights& group,
                                                   const std::vector<bool>& may_witness,
                                                   std::size_t stars_in_all);

}  // namespace emberline::night
