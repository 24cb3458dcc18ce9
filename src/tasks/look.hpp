// SPDX-License-Identifier: MIT
// tasks/look — one star of one measured frame, or what lies at any place on it: profile, growth of its light,
// sky, flux, magnitude. Needs: the frame's file, as it was measured.  Feeds: the command look, the page.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/caveat.hpp"
#include "quantities/magnitude.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"
#include "stars/profile.hpp"
#include "tasks/find_measured.hpp"

namespace emberline::tasks {

// One of the two. A label is the sequence's, or photometry::transient_label. The pixels are those of the
// frame's own picture, of a mosaic of its colour's.
struct LookRequest {
    std::optional<std::string> label;
    std::optional<frame::PixelPosition> place;
};

struct RadialPoint {
    double radius_px = 0.0, adu = 0.0;  // above sky
};
struct GrowthPoint {
    double radius_px = 0.0;
    double share = 0.0, err = 0.0;  // of the light within the largest circle
};

struct LookedStar {
    std::string frame;  // as the ledger names it
    std::string label;  // empty: none of the sequence
    std::string role;   // "transient", "comparison", "check", "unused"; empty: none of the sequence
    frame::PixelPosition position;              // where the circles are centred
    double position_err_px = 0.0;               // one axis
    std::optional<SkyPosition> place;           // of the sequence; else by the plate and the comparison stars
    std::optional<stars::StarProfile> profile;  // absent: too faint, or its core is not linear
    double peak_adu = 0.0;                      // sky included
    bool saturated = false;
    double sky_adu = 0.0, sky_err_adu = 0.0;
    double sky_noise_adu = 0.0;  // of one pixel
    std::string method;          // "aperture", "psf": how flux_e was measured
    double aperture_px = 0.0;    // of a PSF's fit: of a circle with as much sky noise
    Flux flux_e;                 // above sky; of the transient with its host; NaN: light is missing
    std::optional<double> instrumental_mag;   // −2.5 log10 flux_e
    std::optional<ValueWithError> magnitude;  // standard system; the error is the frame's, random
    std::optional<ValueWithError> catalogue_mag;
    std::optional<double> residual_mag;  // measured − catalogue
    Caveats caveats;
    std::vector<RadialPoint> rings;         // pixels averaged in rings
    std::vector<RadialPoint> fitted;        // the profile's, averaged over directions
    std::vector<GrowthPoint> growth;        // at the frame's own circles
    double inner_px = 0.0, outer_px = 0.0;  // of the annulus that the sky is from
    frame::Cutout cutout;
    std::vector<std::string> remarks;
};

// The numbers of a labelled star are the ledger's: the same steps on the same pixels. A place is centred on
// what is brightest within 2.5 FWHM of it; where that is a star of the sequence, it is that star.
// Problem: no such star on the frame, a place off it (request); nothing that stands out there (input: it says
// how faint a star could be seen); as of open_measured and night::FrameLook::open.
[[nodiscard]] Result<LookedStar> look(const Workspace& workspace, const ledger::Ledger& ledger,
                                      const MeasuredFrame& frame, const LookRequest& request);

}  // namespace emberline::tasks
