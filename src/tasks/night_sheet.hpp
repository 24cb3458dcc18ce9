// SPDX-License-Identifier: MIT
// tasks/night_sheet — one night on one page, from the ledger and its best frame: a file to keep or to mail.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct NightSheetRequest {
    std::optional<std::string> night;  // YYYY-MM-DD; absent: the newest
    std::string file;                  // .html or .pdf; empty: out/night_2024-03-18.html of the campaign
    bool pdf = false;                  // of an HTML page: the same on A4 beside it, ending in .pdf
    int threads = 0;                   // for the light curve's fits; 0: one a core
};

struct NightSheetOutcome {
    std::string night;
    std::vector<std::string> files;    // written
    std::vector<std::string> remarks;  // sentences: what the page could not show, and why
};

// Reads the ledger, writes nothing to it. Every file is written whole or not at all. Problem: nothing
// measured, no such night (request; it names the nights there are), a file name that ends in neither
// (request), gnuplot where a PDF is asked for, the disk (storage).
[[nodiscard]] Result<NightSheetOutcome> night_sheet(const Workspace& workspace,
                                                    const NightSheetRequest& request);

}  // namespace emberline::tasks
