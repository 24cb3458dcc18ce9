// SPDX-License-Identifier: MIT
// tasks/report — the network's report of the campaign, checked before it is written.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "exchange/network_lines.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct ReportRequest {
    std::optional<std::string> from_night, to_night;  // YYYY-MM-DD, both included
    std::vector<std::string> bands;                   // empty: all
    bool frames = false;                              // a line a frame instead of a night
    std::string file;                                 // empty: out/report.txt of the campaign
};

struct ReportOutcome {
    std::string file;
    std::size_t lines = 0;
    std::vector<exchange::SkippedLine> skipped;
    std::vector<std::string> remarks;
    std::vector<exchange::Finding> findings;  // of the validator on what was written: warnings
};

// Problem: nothing measured, no line left, an observer code that is missing, a report that its own validator
// refuses (it is not written then), the disk.
[[nodiscard]] Result<ReportOutcome> report(const Workspace& workspace, const ReportRequest& request);

// Any file of the network's format, whoever wrote it.
[[nodiscard]] Result<std::vector<exchange::Finding>> check_report(const std::string& file);

}  // namespace emberline::tasks
