// SPDX-License-Identifier: MIT
// photometry/smooth_host_setting — what a smooth host is asked for, checked and in pixels. Private to the
// room.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "frame/wcs.hpp"
#include "photometry/host_light.hpp"
#include "photometry/psf.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry::smooth {

struct Setting {
    frame::PixelPosition transient;
    std::optional<frame::PixelPosition> nucleus;
    std::optional<Psf> psf;  // the frame's own, else one of usual shape as wide as the apertures suggest
    double image_err = 0.0;  // of its shares, relative
    double fwhm_px = 0.0;
    double position_err_px = 0.0, centre_err_px = 0.0;  // one axis
    std::vector<std::size_t> apertures;                 // indices of the grid's circles, ascending in radius
};

// Problem: pixels, sky, gain, apertures, PSF or places that cannot be used; a transient off the cut-out.
[[nodiscard]] Result<Setting> setting(const Surroundings& around, const FluxGrid& grid,
                                      const std::optional<SkyShift>& nucleus, const SkyShift& shift);
[[nodiscard]] std::string place_words(const frame::PixelPosition& transient);

}  // namespace emberline::photometry::smooth
