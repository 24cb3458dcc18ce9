// SPDX-License-Identifier: MIT
// night/host_grid — a frame's apertures as host removal takes them. Private to this room.
#pragma once

#include "photometry/frame_record.hpp"

namespace emberline::night {

[[nodiscard]] inline photometry::FluxGrid host_grid(const photometry::FrameFluxes& fluxes) {
    photometry::FluxGrid grid;
    for (std::size_t k = 0; k < fluxes.apertures.size(); ++k) {
        grid.radii_px.push_back(fluxes.apertures[k].radius_px);
        if (fluxes.apertures[k].is_psf()) grid.psf = k;
    }
    return grid;
}

}  // namespace emberline::night
