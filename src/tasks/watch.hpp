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
    std::optional<double> frames_to_goal;  // more frames like the latest; infinite where more do not help
};

struct WatchEvent {
    enum class Kind { measured, refused, waiting, folder_gone, folder_back, folder_silent, note };
    Kind kind = Kind::note;
    std::string frame;
    std::vector<night::FrameMeasurement> measurements;  // of that frame, one a band
    double fwhm_arcsec = 0.0;
    std::vector<RunningNight> running;  // of that frame's night
    std::optional<Problem> problem;
    std::string sentence;
};

struct WatchOutcome {
    std::size_t measured = 0, refused = 0;
    bool reached = false;      // the goal
    bool interrupted = false;  // stopped by a signal; the ledger is whole
};

// Returns when stopped, when the goal is reached, or when idle for as long as asked.
// Problem: no such folder at the start; a ledger that fails for good.
[[nodiscard]] Result<WatchOutcome> watch(const Workspace& workspace, const WatchRequest& request,
                                         const std::function<void(const WatchEvent&)>& tell);

}  // namespace emberline::tasks
