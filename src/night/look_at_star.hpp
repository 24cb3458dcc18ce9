// SPDX-License-Identifier: MIT
// night/look_at_star — one star of a frame that was measured, or any place on it, by the same steps as when
// it was measured, with all that a person wants to see of it. Needs: the frame, opened as it was measured,
// and its fluxes.  Feeds: tasks/look.
#pragma once

#include <memory>
#include <optional>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"
#include "photometry/local_sky.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"
#include "stars/centroid.hpp"
#include "stars/profile.hpp"

namespace emberline::night {

struct StarLook {
    // At each of the frame's apertures, noise and all: night/star_noise gives its variance. At a PSF's
    // fit what the ledger has, else NaN.
    photometry::StarFlux light;
    photometry::SkyEstimate sky;
    std::optional<SkyPosition> place;  // of a star its catalogue place, else by plate and comparison stars
    photometry::Annulus annulus;
    frame::Cutout cutout;                       // to beyond the annulus, where the frame has it
    std::optional<stars::Centroid> centroid;    // absent: too faint to be centred
    std::optional<stars::StarProfile> profile;  // absent: too faint, or its core is beyond the linear range
    stars::PixelSquare square;                  // what gathers the light of the profile
    double saturation_adu = 65535.0, linear_to_adu = 65535.0;
    bool near_edge = false;  // the frame ends within the annulus
};

class FrameLook {
  public:
    // `measured`: that frame's fluxes; it must outlive this. Problem: as of measure_frame, where settings or
    // sequence were changed so that the frame cannot be measured any more.
    static Result<FrameLook> open(const frame::Frame& frame, const photometry::FrameFluxes& measured,
                                  const standard::Sequence& sequence, const Campaign& campaign);

    // One of the frame's stars, with its aperture where it sat. Problem: pixels that cannot be read.
    [[nodiscard]] Result<StarLook> at(const photometry::StarFlux& star) const;
    // What is brightest within `reach_px` of a place, centred; where nothing stands out, the place itself.
    // Problem: off the frame; no sky there that could be told.
    [[nodiscard]] Result<StarLook> at(const frame::PixelPosition& place, double reach_px) const;

    FrameLook(FrameLook&&) noexcept;
    FrameLook& operator=(FrameLook&&) noexcept;
    ~FrameLook();

  private:
    struct Opened;
    explicit FrameLook(std::unique_ptr<Opened> opened);
    std::unique_ptr<Opened> opened_;
};

}  // namespace emberline::night
