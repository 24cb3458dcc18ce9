// SPDX-License-Identifier: MIT
// tasks/watch — a folder watched through the night: frames measured as they land.
#pragma once

#include <atomic>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "night/measurement.hpp"
#include "quantities/problem.hpp"
#include "tasks/measure.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct WatchRequest {
    std::string folder;
    std::optional<double> until_mag;  // ends when the running night's error is no larger, in every band seen
    double settle_s = 2.0;            // a file that has not changed for so long, and is whole, has landed
    double give_up_s = 600.0;         // one that goes on growing for so long is told, and waited for quietly
    std::optional<double> idle_s;     // ends when nothing has landed for so long
    int threads = 0;
    const std::atomic<bool>* stop = nullptr;
};

// The night so far, in one band.
struct RunningNight {
    night::NightMeasurement value;
    // More frames, each worth what those so far are on average; infinite where more do not help. Absent
    // without a goal, or without a magnitude.
    std::optional<double> frames_to_goal;
};

struct WatchEvent {
    enum class Kind { measured, refused, waiting, folder_gone, folder_back, folder_silent, note };
    Kind kind = Kind::note;
    std::string frame;
    std::vector<night::FrameMeasurement> measurements;  // of that frame, one a band
    // Of that frame's night; of frames that were measured together, with the last of each night.
    std::vector<RunningNight> running;
    std::optional<Problem> problem;
    std::string sentence;
};

struct WatchOutcome {
    std::size_t measured = 0, refused = 0;
    bool reached = false;      // the goal
    bool interrupted = false;  // stopped by a signal; the ledger is whole
    bool unused = false;       // some were measured, and the judgement does not use them
    // Something still waits for a disk that does not answer, and would hold up whoever waits for it: end the
    // program without.
    bool left_behind = false;
    std::vector<RunningNight> night;  // the latest that was measured here
};

// The frames that lie there already come first; those that the ledger knows are passed over.
// Returns when stopped, when the goal is reached, or when idle for as long as asked.
// Problem: no such folder at the start; a ledger that fails for good. `tell` is called by this thread.
[[nodiscard]] Result<WatchOutcome> watch(const Workspace& workspace, const WatchRequest& request,
                                         const std::function<void(const WatchEvent&)>& tell);

}  // namespace emberline::tasks
