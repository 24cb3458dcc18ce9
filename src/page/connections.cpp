// SPDX-License-Identifier: MIT
#include "page/connections.hpp"

#include <system_error>

namespace emberline::page {

void Connections::enqueue(std::function<void()> work) {
    {
        const std::scoped_lock lock(mutex_);
        waiting_.push_back(std::move(work));
        if (waiting_.size() > idle_ && threads_.size() < most_connections) {
            try {
                threads_.emplace_back([this] { serve(); });
            } catch (const std::system_error&) {
                // No more threads are to be had: it waits for one of those there are.
            }
        }
    }
    changed_.notify_one();
}

void Connections::shutdown() {
    {
        const std::scoped_lock lock(mutex_);
        over_ = true;
    }
    changed_.notify_all();
    for (std::thread& thread : threads_)
        thread.join();
}

void Connections::serve() {
    std::unique_lock lock(mutex_);
    while (true) {
        ++idle_;
        changed_.wait(lock, [this] { return over_ || !waiting_.empty(); });
        --idle_;
        if (waiting_.empty()) return;
        const auto work = std::move(waiting_.front());
        waiting_.pop_front();
        lock.unlock();
        work();
        lock.lock();
    }
}

}  // namespace emberline::page
