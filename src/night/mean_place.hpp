// SPDX-License-Identifier: MIT
// night/mean_place — the transient's position on the sky, from what single frames saw.
// Needs: frames with SeenPlace, as measured or out of the ledger.  Feeds: reports, tables, the night's sheet.
// The positions are those of the comparison stars' catalogue: ICRS, at its epoch, and no better than it.
#pragma once

#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::night {

// Where the transient lies as seen from another place, on the tangent plane there.
struct PlaceOffset {
    double east_arcsec = 0.0, north_arcsec = 0.0;
    double east_err_arcsec = 0.0, north_err_arcsec = 0.0;  // of the transient; the other place has none
    double distance_arcsec = 0.0, distance_err_arcsec = 0.0;
    double position_angle_deg = 0.0;  // east of north, 0 to 360
};

struct TransientPlace {
    SkyPosition place;                                           // ICRS
    double east_err_arcsec = 0.0, north_err_arcsec = 0.0;        // one sigma, all in
    double east_random_arcsec = 0.0, north_random_arcsec = 0.0;  // of that, what more frames would shrink
    double common_err_arcsec = 0.0;                              // one axis: what they would not
    int frames = 0, nights = 0;
    std::string method;                       // "difference", "psf", "centroid", or several: "psf, centroid"
    PlaceOffset from_campaign;                // from the position in campaign.toml
    std::optional<PlaceOffset> from_nucleus;  // absent where the campaign names none
    double chi2 = 0.0;                        // of the frames about the mean, both axes
    int dof = 0;                              // 2 (frames − 1)
};

// Weighted by each frame's random error, mistakes among them with hardly any weight; where the frames scatter
// more than they say, the error grows with the scatter. What all frames share (the catalogue's errors at the
// transient's place, host light) is not averaged down. Where frames with a template's difference alone give
// the smaller error, the others are left out. Absent where no frame has a SeenPlace. The caller leaves out
// frames that the campaign's solution refused.
[[nodiscard]] std::optional<TransientPlace> mean_place(std::span<const photometry::FrameFluxes* const> frames,
                                                       const Campaign& campaign);

// The same of each night that has one, by its date.
[[nodiscard]] std::map<std::string, TransientPlace> places_by_night(
    std::span<const photometry::FrameFluxes* const> frames, const Campaign& campaign);

}  // namespace emberline::night
