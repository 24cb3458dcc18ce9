// SPDX-License-Identifier: MIT
#include "photometry/scene_optics.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace emberline::photometry {
namespace {

constexpr int steps_a_pixel = 5;

// Lagrange's cubic through −1, 0, 1, 2.
std::array<double, 4> cubic(double t) {
    return {-t * (t - 1.0) * (t - 2.0) / 6.0, (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
            -(t + 1.0) * t * (t - 2.0) / 2.0, (t + 1.0) * t * (t - 1.0) / 6.0};
}

}  // namespace

PointImage::PointImage(const Psf& psf, const frame::PixelPosition& near, double reach_px) {
    reach_px_ = static_cast<int>(std::ceil(std::min(reach_px, psf.reach_px()))) + 2;
    side_ = 2 * reach_px_ * steps_a_pixel + 1;
    table_.assign(static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_), 0.0);
    const int x0 = static_cast<int>(std::lround(near.x)), y0 = static_cast<int>(std::lround(near.y));
    const frame::PixelBox box{x0 - reach_px_, y0 - reach_px_, 2 * reach_px_ + 1, 2 * reach_px_ + 1};
    for (int py = 0; py < steps_a_pixel; ++py) {
        for (int px = 0; px < steps_a_pixel; ++px) {
            const auto part = psf.stamp(
                {x0 + static_cast<double>(px) / steps_a_pixel, y0 + static_cast<double>(py) / steps_a_pixel},
                box);
            std::size_t at = 0;
            for (int y = 0; y < box.height; ++y) {
                for (int x = 0; x < box.width; ++x, ++at) {
                    const int xs = x * steps_a_pixel - px, ys = y * steps_a_pixel - py;
                    if (xs >= 0 && ys >= 0) table_[index(xs, ys)] = part[at];
                }
            }
        }
    }
}

void PointImage::shares(const frame::PixelPosition& star, const std::vector<std::array<int, 2>>& pixels,
                        std::vector<double>& out) const {
    out.assign(pixels.size(), 0.0);
    // The fraction of a step is the same for every pixel.
    const double xs = (reach_px_ - star.x) * steps_a_pixel, ys = (reach_px_ - star.y) * steps_a_pixel;
    if (!(std::abs(xs) < 1e8) || !(std::abs(ys) < 1e8)) return;
    const double x_floor = std::floor(xs), y_floor = std::floor(ys);
    const std::array<double, 4> wx = cubic(xs - x_floor), wy = cubic(ys - y_floor);
    const int bx = static_cast<int>(x_floor) - 1, by = static_cast<int>(y_floor) - 1;
    for (std::size_t i = 0; i < pixels.size(); ++i) {
        const int x = bx + pixels[i][0] * steps_a_pixel, y = by + pixels[i][1] * steps_a_pixel;
        if (x < 0 || y < 0 || x + 3 >= side_ || y + 3 >= side_) continue;
        double sum = 0.0;
        const double* row = &table_[index(x, y)];
        for (std::size_t r = 0; r < 4; ++r, row += side_)
            sum += wy[r] * (wx[0] * row[0] + wx[1] * row[1] + wx[2] * row[2] + wx[3] * row[3]);
        out[i] = sum;
    }
}

}  // namespace emberline::photometry
