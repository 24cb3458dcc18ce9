// SPDX-License-Identifier: MIT
// picture/curve_script — the light curve in gnuplot's words: panels, axes, points, legend.
#pragma once

#include <string>

#include "picture/curve_picture.hpp"
#include "picture/terminal.hpp"

namespace emberline::picture {

// Problem: nothing in the picture can be drawn.
[[nodiscard]] Result<std::string> curve_script(const CurvePicture& picture, PaperKind kind);

}  // namespace emberline::picture
