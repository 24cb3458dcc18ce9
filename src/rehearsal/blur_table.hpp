// SPDX-License-Identifier: MIT
// rehearsal/blur_table — the image of a point when the telescope was out of focus or drifted: tabulated once
// a frame, looked up for every star. Private to this room.
#pragma once

#include <functional>
#include <vector>

namespace emberline::rehearsal {

struct Blur {
    double defocus_px = 0.0;  // radius of the evenly lit disk
    double trail_px = 0.0, trail_direction_deg = 0.0;
};

class BlurTable {
  public:
    // `sharp`: light in a pixel at (dx, dy) from the point, before the blur; nothing beyond `reach_px`.
    BlurTable(const std::function<double(double, double)>& sharp, const Blur& blur, double reach_px,
              double step_px);
    // Cubic between the table's points, which keeps the sum over any grid of pixels; 0 outside.
    [[nodiscard]] double at(double dx, double dy) const;

  private:
    [[nodiscard]] std::size_t index(int i, int j) const {
        return static_cast<std::size_t>(j) * static_cast<std::size_t>(side_) + static_cast<std::size_t>(i);
    }
    void trail(const Blur& blur);
    void defocus(double radius_steps);

    int half_ = 0, side_ = 0;  // points from the middle to the rim; of the whole table
    double step_px_ = 1.0;
    std::vector<double> values_;
};

}  // namespace emberline::rehearsal
