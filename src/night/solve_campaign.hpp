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
#include "night/remove_host.hpp"
#include "night/solution.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// What the observer has set aside: frame path, night date or star label -> reason.
struct SetAsideByObserver {
    std::map<std::string, std::string> frames, nights, stars;
};

struct CampaignSolution {
    Solution solution;
    std::vector<std::string> remarks;  // bands that could not be solved, and why
    HostRemoval host;                  // what took the host's light away, and the transient without it
};

// Host light is taken away first where it shines in (remove_host); `keep_host_models` keeps the models for
// pictures, and `known_host` is an earlier solution's of the same frames: nothing is fitted twice.
// A band without comparison stars leaves its frames unused with the reason and does not stop the others.
// Problem: no frame at all; an aperture asked for that no frame has.
[[nodiscard]] Result<CampaignSolution> solve_campaign(const std::vector<photometry::FrameFluxes>& frames,
                                                      const standard::Sequence& sequence,
                                                      const Campaign& campaign,
                                                      const SetAsideByObserver& set_aside,
                                                      bool keep_host_models = false,
                                                      const HostRemoval* known_host = nullptr);

}  // namespace emberline::night
