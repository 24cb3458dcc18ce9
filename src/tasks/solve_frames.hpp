// SPDX-License-Identifier: MIT
// tasks/solve_frames — plate solutions for frames, kept in the ledger and, if asked, in copies.
#pragma once

#include <atomic>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "stars/solve_plate.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct SolveRequest {
    std::vector<std::string> places;       // files and folders
    std::optional<std::string> catalogue;  // in place of the campaign's
    std::optional<double> catalogue_epoch;
    std::optional<std::string> reference;  // a solved frame of the field
    std::optional<double> scale_arcsec_per_px;
    double scale_factor = 1.2;
    int most_order = 3;
    std::optional<std::string> copies;  // a folder for copies that carry the solution
    bool even_if_solved = false;        // frames that have a solution are solved all the same, and compared
    int threads = 0;
    const std::atomic<bool>* stop = nullptr;
    std::function<void(std::size_t done, std::size_t of)> progress;
};

struct SolvedFrame {
    std::string frame;
    std::optional<Problem> problem;  // then the rest is empty
    bool had_solution = false;       // in its header; left as it is unless even_if_solved
    std::string against;
    int order = 1;
    std::size_t detected = 0, references = 0, matched = 0;
    double rms_arcsec = 0.0, false_probability = 1.0, log_odds = 0.0;
    double scale_arcsec_per_px = 0.0, position_angle_deg = 0.0;
    bool mirrored = false;
    std::optional<SkyPosition> middle;
    std::optional<double> header_off_arcsec;  // at the middle, and the worst corner, against the header's
    std::optional<double> header_off_corner_arcsec;
    std::optional<std::string> copy;
};

struct SolveOutcome {
    std::vector<SolvedFrame> frames;
    std::vector<std::string> remarks;
    bool interrupted = false;
};

// Without a campaign (null), a catalogue or a reference is needed, and nothing is kept but copies.
[[nodiscard]] Result<SolveOutcome> solve_frames(const Workspace* workspace, const SolveRequest& request);

}  // namespace emberline::tasks
