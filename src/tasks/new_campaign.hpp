// SPDX-License-Identifier: MIT
// tasks/new_campaign — a campaign folder to edit.
#pragma once

#include <string>
#include <string_view>

#include "quantities/problem.hpp"

namespace emberline::tasks {

// campaign.toml and comparison.csv with every setting explained, and an empty frames/. Problem (request): the
// folder holds a campaign already; (storage): the disk.
[[nodiscard]] Result<void> new_campaign(const std::string& folder);
// What it writes as comparison.csv: no star yet.
[[nodiscard]] std::string_view empty_sequence_text();

}  // namespace emberline::tasks
