// SPDX-License-Identifier: MIT
// picture/curve_script — the light curve in gnuplot's words: panels, axes, points, legend.
#pragma once

#include <string>

#include "picture/curve_picture.hpp"

namespace emberline::picture {

enum class PaperKind { svg, pdf, png };

// Problem: nothing in the picture can be drawn.
[[nodiscard]] Result<std::string> curve_script(const CurvePicture& picture, PaperKind kind);

}  // namespace emberline::picture
