// SPDX-License-Identifier: MIT
// page/live — what happens while somebody looks: told to every open page as server-sent events. Also follows
// the ledger, so that another program's measurements are told too. Private to this room.
#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace emberline::page {

struct LiveEvent {
    std::uint64_t number = 0;
    std::string name;  // "ledger", "frame", "watch"
    std::string data;  // JSON, one line
};

class Live {
  public:
    ~Live();
    void tell(std::string name, std::string data);
    // The events after that number, as soon as there is one, or none after so long. A listener who slept
    // too long gets what is still kept: `missed` says that some are gone, and everything is to be read anew.
    struct Heard {
        std::vector<LiveEvent> events;
        bool missed = false, over = false;
    };
    [[nodiscard]] Heard wait(std::uint64_t after, std::chrono::milliseconds most);
    [[nodiscard]] std::uint64_t newest() const;
    // Asks `revision` twice a second and tells "ledger" when it is another.
    void follow(std::function<std::string()> revision);
    // Every listener is sent home.
    void end();

  private:
    mutable std::mutex mutex_;
    std::condition_variable changed_;
    std::deque<LiveEvent> kept_;
    std::uint64_t newest_ = 0;
    bool over_ = false;
    std::thread follower_;
};

}  // namespace emberline::page
