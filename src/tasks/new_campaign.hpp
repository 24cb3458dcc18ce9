// SPDX-License-Identifier: MIT
// tasks/new_campaign — a campaign folder to edit.
#pragma once

#include <string>

#include "quantities/problem.hpp"

namespace emberline::tasks {

// campaign.toml and comparison.csv with every setting explained, and an empty frames/. Problem (request): the
// folder holds a campaign already; (storage): the disk.
[[nodiscard]] Result<void> new_campaign(const std::string& folder);

}  // namespace emberline::tasks
