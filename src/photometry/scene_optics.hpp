// SPDX-License-Identifier: MIT
// photometry/scene_optics — how points of the sky look on the pixels of one frame, for many points at once.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "frame/wcs.hpp"
#include "photometry/psf.hpp"

namespace emberline::photometry {

// A frame's PSF near one place, tabulated in steps of a fifth of a pixel and interpolated by cubics: points
// by the hundred cost a few multiplications a pixel. Error: 1e-4 of the peak at a FWHM of 2.5 px.
class PointImage {
  public:
    PointImage(const Psf& psf, const frame::PixelPosition& near, double reach_px);
    // The share of the light of a point at `star` in each of the pixels.
    void shares(const frame::PixelPosition& star, const std::vector<std::array<int, 2>>& pixels,
                std::vector<double>& out) const;

  private:
    [[nodiscard]] std::size_t index(int x_step, int y_step) const {
        return static_cast<std::size_t>(y_step) * static_cast<std::size_t>(side_) +
               static_cast<std::size_t>(x_step);
    }
    int reach_px_ = 0;
    int side_ = 0;
    std::vector<double> table_;  // offsets pixel − star, both axes from −reach in steps
};

// Places on the sky, in arcseconds from the transient's catalogue position.
struct SkyPoint {
    double east_arcsec = 0.0, north_arcsec = 0.0;
};

// The points of which the host is made, and the circle of sky whose pixels are fitted.
struct SceneGrid {
    std::vector<SkyPoint> nodes;
    double spacing_arcsec = 0.0;
    double radius_arcsec = 0.0;  // of the circle fitted
    double fwhm_arcsec = 0.0;    // median of the frames
};

// Unknowns that all frames share: the light of each node, then the transient's place, east and north, in
// arcseconds.
inline constexpr std::size_t place_unknowns = 2;

}  // namespace emberline::photometry
