// SPDX-License-Identifier: MIT
#include "frame/lattice.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "frame/lattice_box.hpp"

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

bool touches_frame(const FrameFacts& facts, const PixelBox& box) {
    if (!facts.lattice) return true;
    double x0 = std::numeric_limits<double>::infinity(), y0 = x0, x1 = -x0, y1 = -x0;
    for (const double x : {box.x0 - 0.0, box.x0 + box.width - 1.0}) {
        for (const double y : {box.y0 - 0.0, box.y0 + box.height - 1.0}) {
            const PixelPosition p = facts.lattice->stored({x, y});
            x0 = std::min(x0, p.x);
            x1 = std::max(x1, p.x);
            y0 = std::min(y0, p.y);
            y1 = std::max(y1, p.y);
        }
    }
    return x1 >= 0.0 && y1 >= 0.0 && x0 <= facts.lattice->stored_width_px - 1.0 &&
           y0 <= facts.lattice->stored_height_px - 1.0;
}

}  // namespace emberline::frame
