// SPDX-License-Identifier: MIT
// photometry/psf_core — the Moffat core that all of a frame's stars share, and which pixels of a star's stamp
// are its own.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "photometry/build_psf.hpp"

namespace emberline::photometry {

struct StarOfPsf {
    const PsfStar* given = nullptr;
    double flux_adu = 0.0;
    double signal_to_noise = 0.0;
    frame::PixelPosition position;
    bool used = true;
    std::string fault;                             // where it is not used: why
    std::vector<frame::PixelPosition> neighbours;  // and cosmic rays: pixels about them take no part
};

// Calls visit(x, y, adu) for the pixels of the cut-out within a radius.
template <class Visit>
void within(const frame::Cutout& cutout, const frame::PixelPosition& at, double radius, const Visit& visit) {
    const int x0 = std::max(cutout.box.x0, static_cast<int>(std::ceil(at.x - radius)));
    const int x1 =
        std::min(cutout.box.x0 + cutout.box.width - 1, static_cast<int>(std::floor(at.x + radius)));
    const int y0 = std::max(cutout.box.y0, static_cast<int>(std::ceil(at.y - radius)));
    const int y1 =
        std::min(cutout.box.y0 + cutout.box.height - 1, static_cast<int>(std::floor(at.y + radius)));
    for (int y = y0; y <= y1; ++y) {
        for (int x = x0; x <= x1; ++x) {
            if (std::hypot(x - at.x, y - at.y) <= radius) visit(x, y, static_cast<double>(cutout.at(x, y)));
        }
    }
}

// Neighbours and cosmic rays; in the core a misfit is what is looked for. All in units of the star's light.
[[nodiscard]] bool foreign(double residual, double variance, double share);

// Whether a neighbour or cosmic ray found before covers the pixel.
[[nodiscard]] bool hidden(const StarOfPsf& star, int x, int y, double fwhm_px);

// From profiles fitted to the brightest stars one by one; a usual one where none can be fitted.
[[nodiscard]] MoffatCore first_core(const std::vector<StarOfPsf>& stars, double fwhm_px,
                                    const PixelNoise& noise);

// One shape to all stars at once. Each star's flux is eliminated, its sky and position held. Alone, each star
// would trade wings for sky. `psf`: of `start`. Nothing where no fit is found.
[[nodiscard]] std::optional<MoffatCore> joint_core(const MoffatCore& start,
                                                   const std::vector<StarOfPsf>& stars, const Psf& psf,
                                                   const PixelNoise& noise);

}  // namespace emberline::photometry
