// SPDX-License-Identifier: MIT
// photometry/pixel_noise — the variance of one pixel of a frame.
#pragma once

namespace emberline::photometry {

struct PixelNoise {
    double gain_e_per_adu = 1.0;
    double sky_scatter_adu = 1.0;  // s: measured on the sky, so that read noise and sky light are in it
    [[nodiscard]] double variance_adu2(double above_sky_adu) const {
        const double light = above_sky_adu > 0.0 ? above_sky_adu / gain_e_per_adu : 0.0;
        return sky_scatter_adu * sky_scatter_adu + light;
    }
};

}  // namespace emberline::photometry
