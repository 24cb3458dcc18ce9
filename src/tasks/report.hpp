// SPDX-License-Identifier: MIT
// tasks/report — files for others, each checked before it gets its name, and what went out remembered in the
// ledger: nothing is sent twice, and what changed since is marked as a revision. Nothing is ever sent from
// here.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "exchange/network_lines.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct ReportRequest {
    std::string format = "network";                   // network, server-json, server-tsv
    std::optional<std::string> from_night, to_night;  // YYYY-MM-DD, both included
    std::vector<std::string> bands;                   // empty: all
    std::vector<std::string> hold;                    // flags that hold a value back, beside the campaign's
    bool transformed_only = false, no_limits = false;
    bool frames = false;   // a line a frame instead of a night
    bool again = false;    // also what was reported before and has not changed
    bool dry_run = false;  // write nothing, remember nothing
    std::string file;      // empty: out/report.txt, out/server.json, out/server.tsv of the campaign
};

struct ReportOutcome {
    std::string file;       // empty: nothing was written
    std::string kept_copy;  // of an earlier report that had the file's name
    std::size_t lines = 0;
    std::size_t revisions = 0;                   // of them, of what was reported before
    std::size_t reported_before = 0;             // and not repeated
    std::size_t slight_changes = 0;              // … of these, moved by less than is worth a revision
    std::vector<exchange::SkippedLine> held;     // by the observer's own choice
    std::vector<exchange::SkippedLine> skipped;  // what cannot be a line, and frames that are not used
    std::vector<std::string> remarks;
    // Of the validator on what was written: warnings; on the text of a dry run errors too.
    std::vector<exchange::Finding> findings;
    std::string text;  // of a dry run: the file as it would be
};

// Problem: nothing measured, no line that could be written, an observer code that is missing, a report that
// its own validator refuses (it is not written then), the disk. With nothing new to report no file is
// written, and that is no Problem.
[[nodiscard]] Result<ReportOutcome> report(const Workspace& workspace, const ReportRequest& request);

// Any file of the network's format, whoever wrote it, of any length; or, by its content, of the transient
// server's.
[[nodiscard]] Result<std::vector<exchange::Finding>> check_report(const std::string& file);

}  // namespace emberline::tasks
