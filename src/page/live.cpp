// SPDX-License-Identifier: MIT
#include "page/live.hpp"

namespace emberline::page {
namespace {

constexpr std::size_t most_events = 512;  // events, for listeners who slept
constexpr std::chrono::milliseconds between_looks{500};

}  // namespace

Live::~Live() {
    end();
    if (follower_.joinable()) follower_.join();
}

void Live::tell(std::string name, std::string data) {
    {
        const std::scoped_lock lock(mutex_);
        kept_.push_back({++newest_, std::move(name), std::move(data)});
        if (kept_.size() > most_events) kept_.pop_front();
    }
    changed_.notify_all();
}

Live::Heard Live::wait(std::uint64_t after, std::chrono::milliseconds most) {
    std::unique_lock lock(mutex_);
    changed_.wait_for(lock, most, [&] { return over_ || newest_ != after; });
    Heard heard{.events = {}, .missed = false, .over = over_};
    if (newest_ == after) return heard;
    // A number from another start of the program, or one that is no longer kept.
    heard.missed = after > newest_ || (!kept_.empty() && after + 1 < kept_.front().number);
    for (const LiveEvent& event : kept_) {
        if (heard.missed ? event.number == newest_ : event.number > after) heard.events.push_back(event);
    }
    return heard;
}

std::uint64_t Live::newest() const {
    const std::scoped_lock lock(mutex_);
    return newest_;
}

void Live::follow(std::function<std::string()> revision) {
    follower_ = std::thread([this, revision = std::move(revision)] {
        std::string seen = revision();
        while (true) {
            {
                std::unique_lock lock(mutex_);
                if (changed_.wait_for(lock, between_looks, [&] { return over_; })) return;
            }
            std::string now = revision();
            if (now == seen) continue;
            seen = std::move(now);
            tell("ledger", "{\"revision\":\"" + seen + "\"}");
        }
    });
}

void Live::end() {
    {
        const std::scoped_lock lock(mutex_);
        over_ = true;
    }
    changed_.notify_all();
}

}  // namespace emberline::page
