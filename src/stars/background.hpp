// SPDX-License-Identifier: MIT
// stars/background — the sky under a picture, smooth over a mesh: its level and the scatter of its pixels.
#pragma once

#include <vector>

#include "frame/pixels.hpp"
#include "quantities/problem.hpp"

namespace emberline::stars {

struct BackgroundSettings {
    int mesh_px = 64;     // side of a cell
    int rows_a_cell = 0;  // looked at, spread evenly over it; 0: all of them
};

// Clipped statistics of each cell, the median of it and those around it in place of one that stands out (a
// galaxy, a bright star), bicubic between the cells' middles, continued flat beyond the outermost.
class Background {
  public:
    [[nodiscard]] double level(double x, double y) const;    // ADU, at frame coordinates
    [[nodiscard]] double scatter(double x, double y) const;  // ADU, one sigma of one pixel
    // Levels and scatters at `n` places of row y: x0, x0 + step, …
    void row(double y, double x0, double step, int n, float* level, float* scatter) const;
    [[nodiscard]] double usual_level() const { return usual_level_; }      // median over the cells
    [[nodiscard]] double usual_scatter() const { return usual_scatter_; }  // likewise

  private:
    friend class BackgroundMesh;
    [[nodiscard]] std::vector<float> columns_at(const std::vector<float>& cells, double y) const;
    [[nodiscard]] double at(const std::vector<float>& cells, double x, double y) const;

    frame::PixelBox box_;
    double cell_width_px_ = 64.0, cell_height_px_ = 64.0;
    int columns_ = 0, rows_ = 0;
    std::vector<float> level_, scatter_;  // of each cell, row-major
    double usual_level_ = 0.0, usual_scatter_ = 0.0;
};

class PixelSource;

// Problem: no defined pixel, pixels that cannot be read.
[[nodiscard]] Result<Background> estimate_background(const frame::Cutout& picture,
                                                     const BackgroundSettings& settings = {});
[[nodiscard]] Result<Background> estimate_background(const PixelSource& source,
                                                     const BackgroundSettings& settings);

}  // namespace emberline::stars
