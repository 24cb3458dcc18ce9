// SPDX-License-Identifier: MIT
// photometry/dark_ring — a star's mean profile around its core. Light only falls outwards; sharpening and
// restoring dig a ring below the sky.
#pragma once

#include <span>

#include "photometry/sky_texture.hpp"

namespace emberline::photometry {

struct DarkRing {
    double depth = 0.0;  // of the deepest ring below the sky, over the star's height; median over the stars
    double depth_err = 0.0;  // one sigma, from their scatter and from the sky's noise
    double radius_px = 0.0;
    double share = 0.0;  // of the stars that have it at three sigma
    std::size_t stars = 0;
};

// Of the places whose star is usable.
[[nodiscard]] DarkRing find_dark_ring(std::span<const TexturePlace> places, double fwhm_px);

}  // namespace emberline::photometry
