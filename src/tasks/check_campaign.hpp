// SPDX-License-Identifier: MIT
// tasks/check_campaign — the campaign as a whole, looked over before the night: settings, sequence, site,
// frames, ledger; each against the others.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::tasks {

struct CampaignFinding {
    enum class Weight {
        good,
        doubt,  // possible, and mostly a slip
        wrong,  // keeps something from being measured, or makes it wrong
    };
    Weight weight = Weight::good;
    std::string about;  // "site", "sequence", "check star", "frames" …
    Problem problem;    // of what is good, `what` alone
};
[[nodiscard]] std::string_view word(CampaignFinding::Weight weight);

struct CampaignCheck {
    std::string folder, name;
    SkyPosition position;
    std::vector<CampaignFinding> findings;
    std::size_t frames = 0;      // looked at; planes of a cube counted each
    std::size_t measurable = 0;  // of these, by their headers
    bool ledger_failed = false;
    bool trial_failed = false;  // of the frames tried out, none could be measured
    [[nodiscard]] std::size_t count(CampaignFinding::Weight weight) const;
};

// `places`: files and folders; empty: the campaign's frames/. Headers are read, and one frame of each band is
// measured, into no ledger. Problem: no campaign, or settings or a sequence that cannot be read.
[[nodiscard]] Result<CampaignCheck> check_campaign(const std::string& folder,
                                                   const std::vector<std::string>& places);

}  // namespace emberline::tasks
