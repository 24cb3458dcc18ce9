// SPDX-License-Identifier: MIT
// picture/host_picture — what host removal did to one frame: data, model and what is left, side by side, a
// row for each method. Looks (design section 6): bright is dark on white paper; the transient in a four-tick
// reticle with an open centre, the host's nucleus under a thin cross; what is left in a palette of two
// colours about white.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

struct HostRow {
    std::string method;      // "template", "scene" …
    frame::Cutout data;      // ADU
    frame::Cutout model;     // host and sky, ADU, on the same pixels
    double noise_adu = 1.0;  // of a sky pixel: the scale of what is left
};

struct HostPicture {
    std::string title;          // "DEMO SN 1, V, 2024-03-14"
    std::vector<HostRow> rows;  // at least one
    frame::PixelPosition transient;
    std::optional<frame::PixelPosition> nucleus;
    double scale_arcsec_per_px = 1.0;
    // dx/d(east), dx/d(north), dy/d(east), dy/d(north): where north and east are. All 0: not drawn.
    std::array<double, 4> px_per_arcsec{};
};

// A PNG. Problem: no row, or data and model of different size (request); gnuplot or the disk (storage).
[[nodiscard]] Result<void> draw_host(const HostPicture& picture, const std::string& path);

}  // namespace emberline::picture
