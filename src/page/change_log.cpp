// SPDX-License-Identifier: MIT
#include "page/change_log.hpp"

#include "sky/time_scales.hpp"

namespace emberline::page {

int ChangeLog::add(std::string words, std::function<Result<void>()> take_back) {
    const std::scoped_lock lock(mutex_);
    const int number = static_cast<int>(changes_.size()) + 1;
    changes_.push_back({.number = number,
                        .words = std::move(words),
                        .since = sky::iso(sky::now(), 0),
                        .undone = false,
                        .take_back = std::move(take_back)});
    return number;
}

std::vector<Change> ChangeLog::all() const {
    const std::scoped_lock lock(mutex_);
    return changes_;
}

std::optional<Change> ChangeLog::newest() const {
    const std::scoped_lock lock(mutex_);
    for (auto change = changes_.rbegin(); change != changes_.rend(); ++change) {
        if (!change->undone) return *change;
    }
    return std::nullopt;
}

void ChangeLog::mark_undone(int number) {
    const std::scoped_lock lock(mutex_);
    for (Change& change : changes_) {
        if (change.number == number) change.undone = true;
    }
}

}  // namespace emberline::page
