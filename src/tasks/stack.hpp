// SPDX-License-Identifier: MIT
// tasks/stack — a night's good frames made into one deep frame, and that measured like any other.
#pragma once

#include <atomic>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "night/stack_night.hpp"
#include "quantities/problem.hpp"
#include "tasks/measure.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct StackRequest {
    std::vector<std::string> places;    // frames; empty: the night's in the ledger
    std::optional<std::string> night;   // YYYY-MM-DD; absent: the newest
    std::optional<std::string> band;    // absent: each of them
    std::optional<std::string> output;  // absent: stacks/NIGHT_BAND.fits in the campaign
    bool replace = false;
    bool measure = true;  // into the ledger
    int threads = 0;
    const std::atomic<bool>* stop = nullptr;
    std::function<void(std::size_t done, std::size_t of)> progress;
};

struct StackedBand {
    Band band;
    std::string night, path;
    std::size_t used = 0, clipped_pixels = 0;
    std::vector<night::StackMember> members;
    std::vector<LeftOut> left_out;
    double fwhm_arcsec = 0.0, exposure_s = 0.0;
    // The transient by the stack and by the frames combined, where both are measured.
    std::optional<ValueWithError> stack_mag, frames_mag;
    std::optional<double> stack_limit_mag, frames_limit_mag;  // three-sigma depths
    bool stack_chosen = false;                                // by solving the campaign
    std::string advice;  // one sentence: what the stack is good for on this night, or not
};

struct StackOutcome {
    std::vector<StackedBand> bands;
    std::vector<Problem> refused;  // bands that could not be stacked
    std::vector<std::string> remarks;
    bool interrupted = false;
};

// One stack a night and band. Frames without a plate solution of their own take the ledger's. A stack is
// written whole or not at all; with `measure` it goes into the ledger like any frame, and solving the
// campaign chooses between it and its frames (night/choose_stack).
// Problem: bad words, an existing file (request); no ledger and no places; storage.
[[nodiscard]] Result<StackOutcome> stack(const Workspace& workspace, const StackRequest& request);

}  // namespace emberline::tasks
