// SPDX-License-Identifier: MIT
// tasks/errand — work in a thread of its own, which may never come back: a network share that blocks holds
// whoever asks it. The one who sent for it only ever looks whether the answer is there. Private to this room.
#pragma once

#include <chrono>
#include <exception>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <utility>

#include "quantities/problem.hpp"

namespace emberline::tasks {

using SteadyTime =
    std::chrono::steady_clock::time_point;  // never set back, whatever the clock on the wall does

[[nodiscard]] inline double seconds_between(SteadyTime from, SteadyTime to) {
    return std::chrono::duration<double>(to - from).count();
}

// One piece of work at a time. What `work` holds must be its own or outlive the program: an errand that is
// left behind goes on by itself.
template <class T>
class Errand {
  public:
    void start(std::function<Result<T>()> work) {
        answer_ = std::make_shared<Answer>();
        since_ = std::chrono::steady_clock::now();
        std::thread([work = std::move(work), answer = answer_] {
            auto result = guarded(work);
            const std::scoped_lock lock(answer->mutex);
            answer->result.emplace(std::move(result));
        }).detach();
    }
    [[nodiscard]] bool under_way() const { return answer_ != nullptr; }
    [[nodiscard]] double seconds(SteadyTime now) const {
        return answer_ ? seconds_between(since_, now) : 0.0;
    }
    // Once there, it is handed over and the errand is free for the next.
    [[nodiscard]] std::optional<Result<T>> take() {
        if (!answer_) return std::nullopt;
        std::optional<Result<T>> result;
        {
            const std::scoped_lock lock(answer_->mutex);
            result.swap(answer_->result);
        }
        if (result) answer_.reset();
        return result;
    }

  private:
    struct Answer {
        std::mutex mutex;
        std::optional<Result<T>> result;
    };
    static Result<T> guarded(const std::function<Result<T>()>& work) {
        try {
            return work();
        } catch (const std::exception& error) {
            return fail({.what = std::string("The work could not be done: ") + error.what() + ".",
                         .where = {},
                         .mend = "Free some memory.",
                         .kind = ProblemKind::storage});
        }
    }
    std::shared_ptr<Answer> answer_;
    SteadyTime since_;
};

}  // namespace emberline::tasks
