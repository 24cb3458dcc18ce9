// SPDX-License-Identifier: MIT
// rehearsal/campaign_text — the texts that go beside the frames. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "frame/header.hpp"
#include "rehearsal/invented_campaign.hpp"

namespace emberline::rehearsal {

[[nodiscard]] std::string campaign_toml(const InventedCampaign& campaign);
[[nodiscard]] std::string comparison_csv(const InventedCampaign& campaign);
[[nodiscard]] std::string truth_stars_csv(const InventedCampaign& campaign);

[[nodiscard]] std::string truth_heading();
[[nodiscard]] std::string truth_line(const InventedCampaign& campaign, const PlannedFrame& planned,
                                     const InventedFrame& exposed);

// What a camera's program and a plate solver would have written.
[[nodiscard]] std::vector<frame::Card> header_cards(const InventedCampaign& campaign,
                                                    const PlannedFrame& planned, double airmass);

}  // namespace emberline::rehearsal
