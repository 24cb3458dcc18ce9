// SPDX-License-Identifier: MIT
// night/aperture_grid — the radii at which every star of a frame is summed, so that an aperture can be chosen
// later, for a night or for the whole campaign, without opening the frames again.
#pragma once

#include <optional>
#include <vector>

#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"
#include "photometry/local_sky.hpp"

namespace emberline::night {

// Ascending in radius. Multiples of the frame's FWHM from 0.6 to 3; angles 2^(k/3) arcsec between 0.7 and 4
// FWHM, the same numbers in every frame; and the radii that the settings ask for.
[[nodiscard]] std::vector<photometry::FrameAperture> aperture_grid(double fwhm_px, double scale_arcsec_per_px,
                                                                   const MeasureSettings& settings);

// Where the frame has that angle: the index of the aperture.
[[nodiscard]] std::optional<std::size_t> find_angle(const std::vector<photometry::FrameAperture>& grid,
                                                    double angle_arcsec);
[[nodiscard]] std::optional<std::size_t> find_multiple(const std::vector<photometry::FrameAperture>& grid,
                                                       double fwhm_multiple);

// Where the frame has a PSF: the index of its fit.
[[nodiscard]] std::optional<std::size_t> find_psf(const std::vector<photometry::FrameAperture>& grid);

// Where a faint star shows best: the PSF's fit, else the largest aperture of no more than one FWHM as a
// radius (the smallest, where all are larger). Absent for a frame without apertures.
[[nodiscard]] std::optional<std::size_t> find_core(const std::vector<photometry::FrameAperture>& grid,
                                                   double fwhm_px);

// Beyond every aperture, and of at least 200 pixels.
[[nodiscard]] photometry::Annulus annulus_around(const std::vector<photometry::FrameAperture>& grid,
                                                 double fwhm_px, double scale_arcsec_per_px,
                                                 const MeasureSettings& settings);

}  // namespace emberline::night
