// SPDX-License-Identifier: MIT
// stars/background — the sky under a picture, smooth over a mesh: its level and the scatter of its pixels.
#pragma once

#include <vector>

#include "frame/pixels.hpp"
#include "quantities/problem.hpp"

namespace emberline::stars {

struct BackgroundSettings {
    int mesh_px = 64;      // side of a cell
    int filter_cells = 3;  // cells are replaced by the median of so many × so many where one stands out
    double clip_sigma = 3.0;
};

// Clipped statistics of each cell, bicubic between the cells' middles, continued flat beyond the outermost.
class Background {
  public:
    [[nodiscard]] double level(double x, double y) const;    // ADU, at frame coordinates
    [[nodiscard]] double scatter(double x, double y) const;  // ADU, one sigma of one pixel
    // Levels and scatters of `width` pixels of row y from x0 on: what whole pictures are worked with.
    void row(int y, int x0, int width, float* level, float* scatter) const;
    [[nodiscard]] double usual_level() const { return usual_level_; }      // median over the cells
    [[nodiscard]] double usual_scatter() const { return usual_scatter_; }  // likewise

  private:
    friend class BackgroundMesh;
    frame::PixelBox box_;
    double cell_px_ = 64.0;
    int columns_ = 0, rows_ = 0;
    std::vector<float> level_, scatter_;  // of each cell
    double usual_level_ = 0.0, usual_scatter_ = 0.0;
};

// Problem: no defined pixel.
[[nodiscard]] Result<Background> estimate_background(const frame::Cutout& picture,
                                                     const BackgroundSettings& settings = {});

}  // namespace emberline::stars
