// SPDX-License-Identifier: MIT
#include "frame/pixels.hpp"

#include <algorithm>

namespace emberline::frame {

PixelBox PixelBox::inside(int frame_width, int frame_height) const {
    const long first_x = std::max(0L, static_cast<long>(x0));
    const long first_y = std::max(0L, static_cast<long>(y0));
    const long last_x = std::min(static_cast<long>(frame_width), static_cast<long>(x0) + width);
    const long last_y = std::min(static_cast<long>(frame_height), static_cast<long>(y0) + height);
    if (last_x <= first_x || last_y <= first_y) return {};
    return {static_cast<int>(first_x), static_cast<int>(first_y), static_cast<int>(last_x - first_x),
            static_cast<int>(last_y - first_y)};
}

}  // namespace emberline::frame
