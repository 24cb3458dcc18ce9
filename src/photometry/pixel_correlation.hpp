// SPDX-License-Identifier: MIT
// photometry/pixel_correlation — whether neighbouring sky pixels vary together, as after debayering,
// resampling or stacking: the scatter of single pixels then understates that of an aperture, the more the
// larger it is.
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "photometry/local_sky.hpp"

namespace emberline::photometry {

// Sums of side × side blocks of the annulus over side · s, s the scatter of one pixel: unit Gaussians where
// pixels are independent, wider where they are not. Blocks with an undefined pixel or a source are passed
// over. A tilted sky is followed; nothing where the annulus is too small for blocks of that side.
[[nodiscard]] std::vector<double> block_pulls(const frame::Cutout& cutout, const frame::PixelPosition& centre,
                                              const Annulus& annulus, const SkyEstimate& sky, int side_px);

// All stars' pulls of blocks of one side.
struct BlockScale {
    int side_px = 0;
    std::vector<double> pulls;
};
// Sides from 2 px upwards, each about half as large again, that end with the first of `largest_px` or more.
[[nodiscard]] std::vector<BlockScale> block_scales(double largest_px);

// Of pixels `lag` apart along rows and columns: how far they vary together.
struct LagProducts {
    double sum = 0.0, squares = 0.0;
    [[nodiscard]] double correlation() const { return squares > 0.0 ? sum / squares : 0.0; }
};
// `deviation(x, y)`: what that pixel of the box has above its sky, over its scatter; absent: it is no sky, or
// stands out.
void add_lag_products(const frame::PixelBox& box, int lag,
                      const std::function<std::optional<double>(int x, int y)>& deviation, LagProducts& out);

// How many times more than by independent pixels of the same scatter the noise of an area is, by its size:
// f − g/L + h L for a square of side L, 1 for a single pixel. Pixels made of their neighbours follow the
// first two terms (exactly where they are averaged along one axis and then the other, as in bilinear
// interpolation); a sky that is not flat adds the third.
struct NoiseGrowth {
    double f = 1.0, g = 0.0, h_per_px = 0.0;
    double smallest_px = 1.0,
           largest_px = 1.0;  // sides that were measured: the third term is not followed on
    [[nodiscard]] bool independent() const { return f == 1.0 && g == 0.0 && h_per_px == 0.0; }
    [[nodiscard]] double of_square(double side_px) const;
    // Of the sum within a circle, over s √Σ w² of the pixels' shares w (square_area_px of noise.hpp). A
    // square of two radii has as much rim for its area as the circle has, and to first order what pixels at
    // the rim lack of neighbours goes with that alone.
    [[nodiscard]] double of_circle(double radius_px) const;
};

// Independent unless the pulls of some scale are wider than chance allows.
[[nodiscard]] NoiseGrowth noise_growth(std::span<const BlockScale> scales);

}  // namespace emberline::photometry
