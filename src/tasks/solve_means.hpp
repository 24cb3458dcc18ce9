// SPDX-License-Identifier: MIT
// tasks/solve_means — what frames are matched with when they are solved by name. Private to this room.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "frame/calibration.hpp"
#include "ledger/ledger.hpp"
#include "night/campaign.hpp"
#include "night/plate_finder.hpp"
#include "standard/sequence.hpp"
#include "tasks/solve_frames.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// The campaign's ways of finding plates, or those of one that knows nothing but what was named.
struct PlateMeans {
    night::Campaign campaign;
    standard::Sequence sequence;
    std::unique_ptr<night::PlateFinder> finder;
    std::unique_ptr<night::PlateFinder> others;  // for the frame that all are matched with: not with itself
    frame::Masters masters;
    std::vector<std::string> remarks;
};

// Without a frame or a catalogue named, what `measure` takes: the campaign's own reference, or else one of
// `files`. Problem (request): the catalogue or the frame that was named is no use; (storage) the ledger.
[[nodiscard]] Result<std::unique_ptr<PlateMeans>> plate_means(const Workspace* workspace,
                                                              const SolveRequest& request,
                                                              const std::vector<std::string>& files,
                                                              const ledger::Ledger* ledger);

}  // namespace emberline::tasks
