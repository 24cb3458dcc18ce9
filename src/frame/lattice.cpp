// SPDX-License-Identifier: MIT
#include "frame/lattice.hpp"

#include <cmath>

namespace emberline::frame {

PixelPosition Lattice::stored(const PixelPosition& p) const {
    return {x0 + p.x * ux + p.y * vx, y0 + p.x * uy + p.y * vy};
}

PixelPosition Lattice::picture(const PixelPosition& s) const {
    const double dx = s.x - x0, dy = s.y - y0;
    const double determinant = static_cast<double>(ux) * vy - static_cast<double>(uy) * vx;
    return {(dx * vy - dy * vx) / determinant, (dy * ux - dx * uy) / determinant};
}

double Lattice::pitch_px() const {
    return std::sqrt(static_cast<double>(ux) * vy - static_cast<double>(uy) * vx);
}

bool Lattice::holds(int i, int j) const {
    if (i < 0 || j < 0 || i >= width_px || j >= height_px) return false;
    const int x = x0 + i * ux + j * vx, y = y0 + i * uy + j * vy;
    return x >= 0 && y >= 0 && x < stored_width_px && y < stored_height_px;
}

}  // namespace emberline::frame
