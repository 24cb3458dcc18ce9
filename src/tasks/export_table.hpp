// SPDX-License-Identifier: MIT
// tasks/export_table — the ledger's measurements as tables for other programs, streamed.
#pragma once

#include <iosfwd>
#include <string>

#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct ExportRequest {
    bool frames = false;         // a row a frame; else a row a night and band
    std::string format = "csv";  // csv, ecsv, votable, fits
    std::string file;            // empty: to `out`; FITS needs one
};

struct ExportOutcome {
    std::size_t rows = 0;
    std::string file;
};

// Problem: an unknown format, no ledger, a file that cannot be written. A file is replaced whole or not at
// all.
[[nodiscard]] Result<ExportOutcome> export_table(const Workspace& workspace, const ExportRequest& request,
                                                 std::ostream& out);
// The table as it would be on standard output, or FITS in a file, as bytes; nothing stays on the disk.
[[nodiscard]] Result<std::string> exported_table(const Workspace& workspace, const ExportRequest& request);

}  // namespace emberline::tasks
