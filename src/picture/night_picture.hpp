// SPDX-License-Identifier: MIT
// picture/night_picture — a night on paper: transparency, star width and sky of each frame, refused ones
// marked.
#pragma once

#include <string>
#include <vector>

#include "night/judge_night.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

// SVG or PNG, by the path's ending. Problem: no exposures, gnuplot missing, the disk.
[[nodiscard]] Result<void> draw_night(const std::vector<night::JudgedExposure>& exposures,
                                      const std::string& night, const std::string& path);

}  // namespace emberline::picture
