// SPDX-License-Identifier: MIT
// night/star_growth — whether a star's light grows with the aperture as the others' does: a companion adds
// light between a narrow and a wide circle. Private to this room.
#pragma once

#include <vector>

#include "night/star_lights.hpp"

namespace emberline::night {

struct GrowthOfStar {
    bool known = false;
    double excess_mag = 0.0;  // beyond the middle star's, mean over the frames; positive: it gains light
    double err_mag = 0.0;
    double x_px = 0.0, y_px = 0.0;  // where it sat, on average, from the middle of the stars
};

// One entry a star, for the circles of so many FWHM. Frames that lack one of them do not count.
[[nodiscard]] std::vector<GrowthOfStar> growth_of_stars(const StarLights& group,
                                                        const std::vector<bool>& trusted, double narrow_fwhm,
                                                        double wide_fwhm);

}  // namespace emberline::night
