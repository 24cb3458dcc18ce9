// SPDX-License-Identifier: MIT
// night/sampled_light — what a frame's pixels make of a star's light, depending on where it falls on them:
// the ripple of a coarse lattice, pixels that had to be filled, the flat's own noise. Private to this room.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "night/find_stars.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/sampling.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/caveat.hpp"

namespace emberline::night {

class SampledLight {
  public:
    // Radii of the frame's apertures, px.
    SampledLight(const frame::FrameFacts& facts, const stars::FrameProfile& profile,
                 std::span<const double> radii_px);

    // `light` has the sums as they are; what the profile knows is taken out of them, the rest is in
    // place_err.
    void settle(photometry::StarFlux& light, const StarOnFrame& star,
                const photometry::ApertureSums& sums) const;
    // Relative, of a fit of the PSF, whose noise is that of an aperture of this radius: it weighs the pixels
    // that are there, and fills none.
    [[nodiscard]] double fit_err(double radius_px) const;

    [[nodiscard]] const Caveats& caveats() const { return caveats_; }
    [[nodiscard]] const std::vector<std::string>& remarks() const { return remarks_; }

  private:
    struct Filling {
        double correction = 1.0, err = 0.0;
    };
    [[nodiscard]] std::vector<Filling> filling(const StarOnFrame& star) const;
    [[nodiscard]] bool cut_by_edge(const frame::PixelPosition& star, double radius_px) const;

    const frame::FrameFacts& facts_;
    std::vector<double> radii_px_;
    photometry::SamplingTable table_;
    // The profile tells what the lattice does: not where the pixels were interpolated from a mosaic.
    bool corrected_ = true;
    std::vector<double> left_;  // relative, one a radius: where it is not corrected, all of it
    Caveats caveats_;
    std::vector<std::string> remarks_;
};

}  // namespace emberline::night
