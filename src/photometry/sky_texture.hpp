// SPDX-License-Identifier: MIT
// photometry/sky_texture — how neighbouring pixels differ, in the sky and across a star. In a picture that
// was only added, shifted or blurred the sky's noise is never smoother than the stars' images: a blur widens
// both, the air only the stars. One that was denoised has stars sharper than its sky.
#pragma once

#include <span>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "photometry/local_sky.hpp"

namespace emberline::photometry {

struct TexturePlace {
    const frame::Cutout* cutout = nullptr;
    frame::PixelPosition centre;
    Annulus annulus;
    SkyEstimate sky;
    bool star_usable = false;  // bright, not saturated: its image tells how sharp the picture is
};

struct SkyTexture {
    // Mean squared difference of pixels `lag_px` apart over that of pixels twice as far: 1 for white noise,
    // 1/4 for what is smooth. Medians over the places, with their errors.
    int lag_px = 1;
    double sky_ratio = 1.0, sky_ratio_err = 0.0;
    double star_ratio = 0.0, star_ratio_err = 0.0;
    std::size_t skies = 0, stars = 0;
    double lag_correlation = 0.0;  // of neighbours in the sky, and its error
    double lag_correlation_err = 0.0;
    double second_correlation = 0.0;  // of pixels two apart
    // Differences of sky neighbours: the middle one's size over that which nine in ten do not reach; 0.410
    // where they are Gaussian, less where most are small and some large.
    double tail_ratio = 0.0, tail_ratio_err = 0.0;
    // Share of neighbours of exactly one value beyond what the pixels' steps explain; its error.
    double ties = 0.0, ties_err = 0.0;
};

// `step_adu`: of the stored levels, 0 where they are continuous. Pixels at `lowest_adu`, the lowest level of
// all, are passed over: where a picture was cut off at the bottom they are no noise.
[[nodiscard]] SkyTexture sky_texture(std::span<const TexturePlace> places, double fwhm_px, double step_adu,
                                     double lowest_adu);

}  // namespace emberline::photometry
