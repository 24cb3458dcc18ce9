// SPDX-License-Identifier: MIT
// stars/measure_spot — one peak looked at closely: how much light, where, how wide, and whether it is a star
// at all. Private to this room.
#pragma once

#include <optional>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "stars/background.hpp"
#include "stars/detect.hpp"

namespace emberline::stars {

struct SpotSettings {
    double fwhm_px = 3.0;
    double threshold_sigma = 5.0;
    double noise_factor = 1.0;  // of filtered noise, beyond independent pixels
    double gain_e_per_adu = 1.0;
    double saturation_adu = 65535.0;
    [[nodiscard]] int half_px() const;  // of the cut-out about a peak that is needed
};

struct Spot {
    enum class Kind { star, hot, nothing };
    Kind kind = Kind::nothing;
    Detection star;                    // where it is one
    double saturated_radius_px = 0.0;  // of the saturated pixels about it; 0: none
};

// `cutout`: about the peak, cut by the picture's edge where it lies there.
[[nodiscard]] Spot measure_spot(const frame::Cutout& cutout, const frame::PixelPosition& peak,
                                const Background& background, const frame::PixelBox& picture,
                                const SpotSettings& settings);

// The width of the light about a place, by moments whose window follows it: a first look, before any width is
// known. Absent: no light there, or sharper than any star.
[[nodiscard]] std::optional<double> first_fwhm_px(const frame::Cutout& cutout,
                                                  const frame::PixelPosition& peak,
                                                  const Background& background, double saturation_adu);

}  // namespace emberline::stars
