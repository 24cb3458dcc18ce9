// SPDX-License-Identifier: MIT
// page/watcher — frames measured as they land, by this program, for the page: tasks::watch in a thread of its
// own. Private to this room.
#pragma once

#include <atomic>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "page/live.hpp"
#include "quantities/problem.hpp"
#include "tasks/watch.hpp"
#include "tasks/workspace.hpp"

namespace emberline::page {

struct Watching {
    std::string folder, since;  // ISO UTC
    std::size_t measured = 0, refused = 0;
    std::string last;              // a sentence: what happened last
    std::optional<Problem> ended;  // why it came to an end by itself
    bool under_way = false;
};

class Watcher {
  public:
    explicit Watcher(Live& live) : live_(live) {}
    ~Watcher();
    // Problem (request): it watches already.
    [[nodiscard]] Result<void> start(const tasks::Workspace& workspace, const std::string& folder,
                                     int threads);
    // Returns when it has ended; false: it did not watch.
    bool stop();
    [[nodiscard]] Watching state() const;

  private:
    void hear(const tasks::WatchEvent& event);
    Live& live_;
    std::mutex starting_;
    mutable std::mutex mutex_;
    Watching state_;
    std::atomic<bool> asked_to_stop_{false};
    std::thread thread_;
};

// As /api/campaign and the event "watch" have it.
[[nodiscard]] std::string watching_text(const Watching& watching);

}  // namespace emberline::page
