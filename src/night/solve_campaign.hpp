// SPDX-License-Identifier: MIT
// night/solve_campaign — from the fluxes of all frames to magnitudes: of every frame and of every night.
// Needs: fluxes (from measure_frame or the ledger), the sequence, the settings.  Feeds: ledger, lightcurve.
// Each band and instrument is one least-squares problem over the whole campaign (standard/zero_points); the
// transient and the check star are then measured against its zero points, frame by frame, and the frames of
// a night are combined in flux.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "night/measurement.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// What the observer has set aside: frame path, night date or star label -> reason.
struct SetAsideByObserver {
    std::map<std::string, std::string> frames, nights, stars;
};

// One star's verdict in one solution.
struct StarVerdict {
    std::string instrument;
    Band band;
    std::string label;
    double offset_mag = 0.0, offset_err_mag = 0.0;  // δ: how far from its catalogue magnitude it is
    double scatter_mag = 0.0, expected_scatter_mag = 0.0;
    bool suspect = false;
    std::string why;
    bool operator==(const StarVerdict&) const = default;
};

struct Solution {                          // everything that one solving of the campaign gave
    std::vector<FrameMeasurement> frames;  // by time
    std::vector<NightMeasurement> nights;  // by night, then band, then instrument
    std::vector<StarVerdict> stars;
};

struct CampaignSolution {
    Solution solution;
    std::vector<std::string> remarks;  // bands that could not be solved, and why
};

// A band without comparison stars leaves its frames unused with the reason and does not stop the others.
// Problem: no frame at all; an aperture asked for that no frame has.
[[nodiscard]] Result<CampaignSolution> solve_campaign(const std::vector<photometry::FrameFluxes>& frames,
                                                      const standard::Sequence& sequence,
                                                      const Campaign& campaign,
                                                      const SetAsideByObserver& set_aside);

}  // namespace emberline::night
