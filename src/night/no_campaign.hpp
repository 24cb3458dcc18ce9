// SPDX-License-Identifier: MIT
// night/no_campaign — a folder without a campaign, and where one is after all. Private to this room.
#pragma once

#include <string>

#include "quantities/problem.hpp"

namespace emberline::night {

// `folder`: as it was named, in which there is no campaign.toml.
[[nodiscard]] Problem no_campaign(const std::string& folder);

}  // namespace emberline::night
