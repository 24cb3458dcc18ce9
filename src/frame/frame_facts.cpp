// SPDX-License-Identifier: MIT
#include "frame/frame_facts.hpp"

namespace emberline::frame {

bool FrameFacts::holds(const PixelPosition& p) const {
    const PixelPosition s = lattice ? lattice->stored(p) : p;
    return s.x >= -0.5 && s.y >= -0.5 && s.x < stored_width_px() - 0.5 && s.y < stored_height_px() - 0.5;
}

PixelPosition FrameFacts::middle() const {
    if (!lattice) return {0.5 * (width_px - 1), 0.5 * (height_px - 1)};
    return lattice->picture({0.5 * (lattice->stored_width_px - 1), 0.5 * (lattice->stored_height_px - 1)});
}

}  // namespace emberline::frame
