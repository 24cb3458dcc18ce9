// SPDX-License-Identifier: MIT
// tasks/offer_files — files that came to rest, offered to the ledger: what became of each. Private to this
// room.
#pragma once

#include <atomic>
#include <optional>
#include <string>
#include <vector>

#include "night/measurement.hpp"
#include "tasks/measure.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct OfferRequest {
    std::vector<std::string> files;
    std::size_t most_fresh = 8;  // measured together; the rest is for later
    bool solve_anyway = false;   // also where there is nothing to measure
    int threads = 0;
    const std::atomic<bool>* stop = nullptr;
};

struct OfferedFile {
    enum class Fate {
        measured,
        known,    // in the ledger already, under this name or, as a copy, under another
        renamed,  // in the ledger under a name that is no longer there
        refused,
        no_plate,  // refused, and another frame may help
        unwhole,   // cannot be opened as a frame, as it stands
        unsolved,  // measured; a stop came before the campaign was solved
        gone,
        later,
    };
    std::string path, name;
    Fate fate = Fate::later;
    std::string other_name;  // of known copies and renamed ones
    std::vector<RefusedFrame> refused;
    std::vector<night::FrameMeasurement> measurements;
};

struct Offered {
    std::vector<OfferedFile> files;
    std::optional<MeasureOutcome> outcome;  // where something was measured or solved
};

// Blocks where a file does. Problem: as measure.
[[nodiscard]] Result<Offered> offer_files(const Workspace& workspace, const OfferRequest& request);

}  // namespace emberline::tasks
