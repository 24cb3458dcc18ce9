// SPDX-License-Identifier: MIT
#include "frame/pixels.hpp"

#include <algorithm>

namespace emberline::frame {
namespace {

// Corners in 64 bits: a box far outside must not wrap around into the frame.
PixelBox between(long long x0, long long y0, long long x1, long long y1) {
    if (x1 <= x0 || y1 <= y0) return {};
    return {static_cast<int>(x0), static_cast<int>(y0), static_cast<int>(x1 - x0), static_cast<int>(y1 - y0)};
}
long long right(const PixelBox& box) {
    return static_cast<long long>(box.x0) + box.width;
}
long long top(const PixelBox& box) {
    return static_cast<long long>(box.y0) + box.height;
}

}  // namespace

PixelBox PixelBox::inside(int frame_width, int frame_height) const {
    return shared({0, 0, frame_width, frame_height});
}

PixelBox PixelBox::shared(const PixelBox& other) const {
    return between(std::max(x0, other.x0), std::max(y0, other.y0), std::min(right(*this), right(other)),
                   std::min(top(*this), top(other)));
}

PixelBox PixelBox::joined(const PixelBox& other) const {
    if (empty()) return other;
    if (other.empty()) return *this;
    return between(std::min(x0, other.x0), std::min(y0, other.y0), std::max(right(*this), right(other)),
                   std::max(top(*this), top(other)));
}

Cutout Cutout::part(const PixelBox& wanted) const {
    if (wanted.empty() || box.shared(wanted) != wanted) return {};
    Cutout out{.box = wanted, .adu = {}};
    out.adu.reserve(wanted.pixels());
    for (int y = wanted.y0; y < wanted.y0 + wanted.height; ++y) {
        const float* row = &adu[box.index(wanted.x0, y)];
        out.adu.insert(out.adu.end(), row, row + wanted.width);
    }
    return out;
}

}  // namespace emberline::frame
