// SPDX-License-Identifier: MIT
// photometry/smooth_host_pixels — the frame's pixels as the smooth host model uses them. Private to the room.
#pragma once

#include <cstddef>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "photometry/host_light.hpp"

namespace emberline::photometry::smooth {

// Row-major over the box.
struct PixelMap {
    frame::PixelBox box;
    std::vector<double> light_adu;      // above the far sky
    std::vector<double> variance_adu2;  // of the pixel's noise, photons of a smooth model in it
    std::vector<double> rough_adu2;     // variance of structure that the mean model does not follow
    std::vector<char> used;             // defined, not saturated, not part of a star or a cosmic ray

    [[nodiscard]] std::size_t size() const { return light_adu.size(); }
    [[nodiscard]] frame::PixelPosition place(std::size_t i) const {
        const auto width = static_cast<std::size_t>(box.width);
        return {box.x0 + static_cast<double>(i % width), box.y0 + static_cast<double>(i / width)};
    }
    // Pixels whose centres may lie within `reach_px` of a place.
    [[nodiscard]] frame::PixelBox near(const frame::PixelPosition& place, double reach_px) const;
};

[[nodiscard]] PixelMap pixel_map(const Surroundings& around);

[[nodiscard]] inline double squared_distance(const frame::PixelPosition& a, const frame::PixelPosition& b) {
    return (a.x - b.x) * (a.x - b.x) + (a.y - b.y) * (a.y - b.y);
}

// Of the structure left over by the mean model: products of residuals one `lag_px` apart share structure,
// not noise. Pixels where `take` is 0 are passed over. 0 where noise hides it.
[[nodiscard]] double structure_variance(const PixelMap& pixels, const std::vector<double>& residual_adu,
                                        const std::vector<char>& take, int lag_px);

// Pixels standing out from `residual_adu` by more than the noise and the structure explain are no longer
// used, nor are their bright neighbours. Pixels where `keep` is not 0 are left alone.
void mask_outliers(PixelMap& pixels, const std::vector<double>& residual_adu, const std::vector<char>& keep);

}  // namespace emberline::photometry::smooth
