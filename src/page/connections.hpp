// SPDX-License-Identifier: MIT
// page/connections — threads for connections: one is made when all are busy, up to many, since a browser that
// sleeps holds its connection, and a live listener holds one for as long as the page is open. More wait their
// turn. Private to this room.
#pragma once

#include <httplib.h>

#include <condition_variable>
#include <cstddef>
#include <deque>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>

namespace emberline::page {

inline constexpr std::size_t most_connections = 256;

class Connections : public httplib::TaskQueue {
  public:
    void enqueue(std::function<void()> work) override;
    void shutdown() override;

  private:
    void serve();
    std::mutex mutex_;
    std::condition_variable changed_;
    std::deque<std::function<void()>> waiting_;
    std::vector<std::thread> threads_;
    std::size_t idle_ = 0;
    bool over_ = false;
};

}  // namespace emberline::page
