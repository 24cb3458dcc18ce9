// SPDX-License-Identifier: MIT
// tasks/nights — the nights as the ledger's newest solution has them.
#pragma once

#include "ledger/ledger.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct NightsOutcome {
    ledger::Solution solution;
    std::vector<ledger::Exclusion> exclusions;
};
// Problem: no ledger yet, or one that fails.
[[nodiscard]] Result<NightsOutcome> nights(const Workspace& workspace);

}  // namespace emberline::tasks
