// SPDX-License-Identifier: MIT
// night/star_light — the light of one star of a frame within circles, and the sky under it: the one way in
// which every star is summed. Private to this room.
#pragma once

#include <vector>

#include "night/find_stars.hpp"
#include "night/sampled_light.hpp"
#include "photometry/local_sky.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/problem.hpp"

namespace emberline::night {

struct StarLight {
    photometry::StarFlux flux;
    photometry::SkyEstimate sky;
};
// `radii_px` are those that `sampled` was made for. Problem: no sky there, or the place is off the cut-out.
[[nodiscard]] Result<StarLight> light_of(const StarOnFrame& star, const std::vector<double>& radii_px,
                                         const photometry::Annulus& annulus, const FrameNeeds& needs,
                                         const SampledLight& sampled);

}  // namespace emberline::night
