// SPDX-License-Identifier: MIT
// night/linearity_evidence — all that the pixels about the stars and the stars' light tell of whether a
// picture still counts light. Private to this room.
#pragma once

#include <optional>

#include "night/judge_linearity.hpp"
#include "photometry/brightness_trend.hpp"
#include "photometry/dark_ring.hpp"
#include "photometry/level_histogram.hpp"
#include "photometry/sky_texture.hpp"

namespace emberline::night {

struct LinearityEvidence {
    // Instrumental against catalogue magnitude: 1 where light is counted.
    std::optional<photometry::Trend> magnitudes;
    double catalogue_dilution = 0.0;  // by which errors of the catalogue lower a slope of 1
    // Logarithm of the light within a small circle over that within a large one, against the instrumental
    // magnitude: 0 where light is counted.
    std::optional<photometry::Trend> shapes;
    photometry::SkyTexture texture;
    photometry::DarkRing ring;
    photometry::LevelHistogram levels;
    double sky_adu = 0.0, scatter_adu = 0.0;  // medians over the stars' annuli
    double noise_area_px =
        1.0;  // pixels whose noise is shared: variance of large areas over independent pixels'
    double star_area_px = 0.0;  // over how many pixels a star's light is spread: 1 / Σ p² of a Gaussian
    std::optional<double> ceiling_adu;  // that several stars' cores share exactly
    int at_ceiling = 0;                 // stars
    int stars = 0;                      // with an annulus
};

[[nodiscard]] LinearityEvidence gather_evidence(const photometry::FrameFluxes& fluxes, const StarField& field,
                                                const FrameNeeds& needs, const standard::Sequence& sequence,
                                                const Campaign& campaign);

}  // namespace emberline::night
