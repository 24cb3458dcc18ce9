// SPDX-License-Identifier: MIT
// picture/transform_picture — what each star departs by against its colour, and the colour term through it; a
// panel for each instrument and band.
#pragma once

#include <string>
#include <vector>

#include "night/standard_field.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

// SVG or PNG, by the path's ending. Problem: no star with a colour, gnuplot missing, the disk.
[[nodiscard]] Result<void> draw_transformations(const std::vector<night::BandTransformation>& bands,
                                                const std::string& title, const std::string& path);

}  // namespace emberline::picture
