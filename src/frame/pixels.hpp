// SPDX-License-Identifier: MIT
// frame/pixels — a rectangle of pixels in ADU, as read: BSCALE and BZERO applied, undefined pixels NaN.
#pragma once

#include <cstddef>
#include <vector>

namespace emberline::frame {

// Which of the four pixels of each 2 × 2: 0 for even columns and rows, 1 for odd columns, 2 for odd rows.
[[nodiscard]] inline std::size_t phase_of(int x, int y) {
    return static_cast<std::size_t>((x & 1) + 2 * (y & 1));
}

struct PixelBox {
    int x0 = 0, y0 = 0;  // first column and row, from 0
    int width = 0, height = 0;
    [[nodiscard]] bool empty() const { return width <= 0 || height <= 0; }
    [[nodiscard]] bool holds(int x, int y) const {
        return x >= x0 && x < x0 + width && y >= y0 && y < y0 + height;
    }
    [[nodiscard]] std::size_t pixels() const {
        return empty() ? 0 : static_cast<std::size_t>(width) * static_cast<std::size_t>(height);
    }
    // Of a pixel that it holds, in row-major order.
    [[nodiscard]] std::size_t index(int x, int y) const {
        return static_cast<std::size_t>(y - y0) * static_cast<std::size_t>(width) +
               static_cast<std::size_t>(x - x0);
    }
    // A place between its pixels' outer edges; a pixel's centre is at whole numbers. Not where a number is no
    // number.
    [[nodiscard]] bool covers(double x, double y) const {
        return x >= x0 - 0.5 && x < x0 + width - 0.5 && y >= y0 - 0.5 && y < y0 + height - 0.5;
    }
    // The part of this box inside a frame of that size.
    [[nodiscard]] PixelBox inside(int frame_width, int frame_height) const;
    // The part that both cover, and the smallest box that covers both; an empty box adds nothing.
    [[nodiscard]] PixelBox shared(const PixelBox& other) const;
    [[nodiscard]] PixelBox joined(const PixelBox& other) const;
    bool operator==(const PixelBox&) const = default;
};

struct Cutout {
    PixelBox box;
    std::vector<float> adu;  // row-major, box.width × box.height; NaN where undefined
    bool operator==(const Cutout&) const = default;

    // Empty where the box reaches beyond this one.
    [[nodiscard]] Cutout part(const PixelBox& wanted) const;
    [[nodiscard]] bool contains(int x, int y) const { return box.holds(x, y); }
    // Frame coordinates.
    [[nodiscard]] float at(int x, int y) const { return adu[box.index(x, y)]; }
    float& at(int x, int y) { return adu[box.index(x, y)]; }
};

}  // namespace emberline::frame
