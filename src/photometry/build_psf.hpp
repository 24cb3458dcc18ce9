// SPDX-License-Identifier: MIT
// photometry/build_psf — a frame's point-spread function from its own stars.
#pragma once

#include <string>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "photometry/pixel_noise.hpp"
#include "photometry/psf.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct PsfStar {
    std::string label;
    frame::Cutout cutout;           // ADU, at least 4 FWHM to each side of the star where the frame has it
    frame::PixelPosition position;  // a first estimate, within half a pixel
    double sky_adu = 0.0;
};

struct BuiltPsf {
    Psf psf;
    std::vector<std::string> used;      // labels
    std::vector<std::string> left_out;  // "126: saturated", "131: a neighbour"
    double residual = 0.0;  // rms of (star − model) over the star's flux, in its core, beyond noise
};

// Stars that are saturated, cut, undefined in the core, blended or unlike the others are left out and named;
// neighbours and cosmic rays in a stamp are masked. The core is fitted to all at once; the table needs
// `stars_for_table` clear stars, its variation `stars_for_variation` spread over the frame, and significance.
// Problem: no star of signal-to-noise 20 or more is left (what and how many were offered).
inline constexpr std::size_t stars_for_table = 3;
inline constexpr std::size_t stars_for_variation = 12;
[[nodiscard]] Result<BuiltPsf> build_psf(const std::vector<PsfStar>& stars, double fwhm_guess_px,
                                         const PixelNoise& noise, double saturation_adu);

}  // namespace emberline::photometry
