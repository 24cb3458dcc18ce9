// SPDX-License-Identifier: MIT
// night/pattern_check — whether the pixels are the mosaic that the header says, or none. Private to this
// room.
#pragma once

#include <optional>
#include <string_view>

#include "frame/colour_pattern.hpp"
#include "frame/frame.hpp"
#include "night/find_stars.hpp"
#include "night/phase_levels.hpp"
#include "quantities/caveat.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

struct PatternVerdict {
    Caveats caveats;
    std::vector<std::string> remarks;
};

// From the light of the stars in the four phases of 2 × 2 pixels, which offsets of columns and rows leave
// alone, and the sky between them. Problem: a frame said to be of one colour whose phases differ as a colour
// camera's do; a mosaic whose phases are all alike (it was interpolated already, or is no mosaic); a pattern
// whose greens contradict each other while another pattern's agree, or whose red is the brighter the bluer a
// star is (it names the pattern that fits). What is only likely, or too few stars show, is the caveat
// pattern_doubtful with a remark. Planes of a cube are not looked at.
[[nodiscard]] Result<PatternVerdict> check_pattern(const frame::Frame& frame, const StarField& field,
                                                   const standard::Sequence& sequence);

// The judgement alone. `stated`: absent for a frame said to be of one colour. `colours`: of the levels'
// stars, in their order, B−V or alike.
[[nodiscard]] Result<PatternVerdict> judge_pattern(const std::optional<frame::ColourPattern>& stated,
                                                   const PhaseLevels& levels,
                                                   const std::vector<std::optional<double>>& colours,
                                                   const std::string& where);

}  // namespace emberline::night
