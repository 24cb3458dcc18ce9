// SPDX-License-Identifier: MIT
// night/star_verdict — from a star's numbers to what is said of it. Private to this room.
#pragma once

#include <cstddef>

#include "night/audited_star.hpp"
#include "night/judge_stars.hpp"

namespace emberline::night {

inline constexpr std::size_t least_frames = 5;       // of a star, to be judged
inline constexpr std::size_t least_other_stars = 3;  // that bear witness

struct Hurdles {
    AccusedFrom accused, doubted;
    std::size_t others = 0;  // witnesses beside the star
    bool faint = false;      // too few photons to be judged
};
// Sets the fault and the sentence.
void pronounce(AuditedStar& star, const Hurdles& hurdles);

}  // namespace emberline::night
