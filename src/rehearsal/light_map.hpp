// SPDX-License-Identifier: MIT
// rehearsal/light_map — the electrons that are expected in each pixel, before chance has its say.
#pragma once

#include <cstddef>
#include <vector>

namespace emberline::rehearsal {

struct LightMap {
    int width_px = 0, height_px = 0;
    std::vector<double> e;  // row-major

    LightMap(int width, int height, double level_e)
        : width_px(width),
          height_px(height),
          e(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), level_e) {}
    [[nodiscard]] std::size_t index(int x, int y) const {
        return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_px) + static_cast<std::size_t>(x);
    }
    [[nodiscard]] bool contains(int x, int y) const {
        return x >= 0 && x < width_px && y >= 0 && y < height_px;
    }
};

}  // namespace emberline::rehearsal
