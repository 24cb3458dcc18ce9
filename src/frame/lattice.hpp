// SPDX-License-Identifier: MIT
// frame/lattice — the pixels of one colour of a mosaic as a picture of their own, none of them interpolated.
// Red and blue: every second pixel of every second row. Green: both of its lattices together, which are one
// square lattice turned by 45 degrees, its pixels √2 apart.
#pragma once

#include "frame/wcs.hpp"

namespace emberline::frame {

// Picture pixel (i, j) is stored pixel (x0 + i ux + j vx, y0 + i uy + j vy). Never mirrored: ux vy − uy vx >
// 0.
struct Lattice {
    int x0 = 0, y0 = 0;
    int ux = 1, uy = 0;
    int vx = 0, vy = 1;
    int width_px = 0, height_px = 0;  // of the picture; its corners may lie off the stored frame
    int stored_width_px = 0, stored_height_px = 0;  // of the stored frame

    [[nodiscard]] PixelPosition stored(const PixelPosition& picture) const;
    [[nodiscard]] PixelPosition picture(const PixelPosition& stored) const;
    [[nodiscard]] double pitch_px() const;  // stored pixels from one picture pixel to the next: 2, or √2
    // Side of the square that gathers light, in picture pixels: 1/2, or 1/√2 (there turned by 45 degrees).
    [[nodiscard]] double pixel_side() const { return 1.0 / pitch_px(); }
    [[nodiscard]] bool turned() const { return uy != 0; }
    [[nodiscard]] bool holds(int i, int j) const;  // that pixel is on the stored frame
    bool operator==(const Lattice&) const = default;
};

}  // namespace emberline::frame
