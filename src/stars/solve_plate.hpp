// SPDX-License-Identifier: MIT
// stars/solve_plate — a frame's plate solution from its stars and stars of known place: any rotation, mirror
// images, a scale known roughly or not at all; refused rather than wrong.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "quantities/problem.hpp"
#include "stars/fit_plate.hpp"
#include "stars/plate_stars.hpp"

namespace emberline::stars {

struct PlateHints {
    std::optional<double> scale_arcsec_per_px;  // absent: any
    double scale_factor = 1.2;                  // the scale may be wrong by so much either way
    std::optional<bool> mirrored;               // absent: either
    int most_order = 3;                         // of SIP; 1: TAN alone
    double most_false_probability = 1e-6;       // a solution that chance gives more often is refused
};

struct PlateSolution {
    PlateFit fit;
    std::size_t stars_in_field = 0;       // of the picture that were compared
    std::size_t references_in_field = 0;  // that fall on the frame
    std::size_t matched = 0;
    double log_odds = 0.0;           // natural logarithm: this solution against chance
    double false_probability = 1.0;  // at most: that chance alone, over all that was tried, gives as much
};

// Stars in any order; of the picture all that were detected, false ones among them. References may reach far
// beyond the frame, some 40° at most. Pixels are taken as square to recognise the field, not to fit it.
// Problem: fewer than three on either side, or all on one line; nothing agrees; what agrees could be chance
// (says how many agreed and what is needed); two different solutions; uncertain by more than 0.6 px, and than
// the stars' own places, somewhere on the frame.
// The false probability is a bound: chance was never seen to come near it (tests/studies/plate_study).
[[nodiscard]] Result<PlateSolution> solve_plate(const std::vector<PictureStar>& stars, int width_px,
                                                int height_px, const std::vector<ReferenceStar>& references,
                                                const PlateHints& hints = {});

}  // namespace emberline::stars
