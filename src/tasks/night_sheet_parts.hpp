// SPDX-License-Identifier: MIT
// tasks/night_sheet_parts — what night_sheet() gathers before it is put on paper. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "ledger/ledger.hpp"
#include "night/judge_night.hpp"
#include "picture/night_sheet.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct NightInLedger {
    std::string night;
    ledger::Solution solution;                    // of all nights
    std::vector<photometry::FrameFluxes> frames;  // of this one
    night::JudgedNights judged;                   // likewise
    std::vector<ledger::Exclusion> exclusions;
};

[[nodiscard]] std::vector<picture::SheetBand> sheet_bands(const NightInLedger& night,
                                                          const Workspace& workspace);
[[nodiscard]] std::vector<picture::SheetFrame> sheet_frames(const NightInLedger& night);

// The night's best frame that is still there as it was measured, else its positions alone. What could not be
// shown goes to the words under it.
struct SheetFinder {
    picture::FinderImage image;
    std::string words;
    bool gone = false;  // no frame could be shown
};
[[nodiscard]] SheetFinder sheet_finder(const NightInLedger& night,
                                       const std::vector<picture::SheetBand>& bands,
                                       const Workspace& workspace);

[[nodiscard]] std::vector<picture::SheetLine> sheet_place(const NightInLedger& night,
                                                          const Workspace& workspace);
[[nodiscard]] std::vector<picture::SheetLine> sheet_settings(const NightInLedger& night,
                                                             const Workspace& workspace);

}  // namespace emberline::tasks
