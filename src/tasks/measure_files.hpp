// SPDX-License-Identifier: MIT
// tasks/measure_files — many files into the ledger, in parallel: those that are known passed over, those
// without a plate solution that serves taken last and solved. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "ledger/ledger.hpp"
#include "tasks/measure.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// Problem: the ledger.
[[nodiscard]] Result<void> measure_files(const Workspace& workspace, const MeasureRequest& request,
                                         const std::vector<std::string>& files, ledger::Ledger& ledger,
                                         MeasureOutcome& outcome);

// Whether the ledger has that file: of a colour cube, all three planes or none, for one that was refused is
// tried again. Problem: the ledger.
[[nodiscard]] Result<bool> knows_file(const ledger::Ledger& ledger, const std::string& fingerprint,
                                      const std::string& settings);

}  // namespace emberline::tasks
