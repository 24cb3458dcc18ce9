// SPDX-License-Identifier: MIT
// photometry/star_flux — all that one frame says about one star.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/wcs.hpp"
#include "photometry/host_light.hpp"
#include "quantities/caveat.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::photometry {

inline constexpr const char* transient_label = "transient";

struct StarFlux {
    std::string label;              // the sequence's label, or transient_label
    SkyPosition place;              // catalogue position it was measured for
    frame::PixelPosition position;  // where the aperture sat
    double position_err_px = 0.0;   // one axis
    bool forced = false;            // true: at the catalogue position through the frame's registration
    std::vector<double> flux_e;     // above sky, one an aperture of the frame
    // Area inside the frame over which the sky's noise counts: that of filled pixels counts twice, since
    // their light and its noise come from their neighbours.
    std::vector<double> area_px;
    // Relative, one sigma, one an aperture: what the star's light varies by with its place on the pixels,
    // beyond noise (lattice ripple, the flat's own noise, filled pixels). Empty: nothing.
    std::vector<double> place_err;
    double sky_e_per_px = 0.0;
    double sky_err_e_per_px = 0.0;
    double sky_scatter_e = 0.0;  // s, one pixel
    double sky_pixels = 0.0;     // n_sky
    double sky_factor = 1.0;     // c
    double sky_unevenness = 0.0;
    double peak_adu = 0.0;
    std::optional<double> fwhm_px;  // where its profile was fitted
    std::optional<double> airmass;
    std::vector<Caveats> caveats;  // one an aperture
    // What took the host away, where flux_e is the transient's alone. Set while the campaign is solved.
    std::optional<HostLight> host;
    bool operator==(const StarFlux&) const = default;
};

}  // namespace emberline::photometry
