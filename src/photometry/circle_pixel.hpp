// SPDX-License-Identifier: MIT
// photometry/circle_pixel — the exact area that a circle shares with a unit square.
#pragma once

namespace emberline::photometry {

inline constexpr double circle_pixel_accuracy_px2 = 1e-12;

// Circle of that radius about (0, 0); the pixel is centred on (x, y). Result in [0, 1].
[[nodiscard]] double circle_pixel_overlap(double x, double y, double radius);

}  // namespace emberline::photometry
