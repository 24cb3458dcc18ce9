// SPDX-License-Identifier: MIT
#include "tasks/landing_files.hpp"

#include <algorithm>
#include <set>
#include <string_view>
#include <utility>

namespace emberline::tasks {
namespace {

// A download of a few seconds is nothing to tell.
constexpr double told_after_settles = 3.0;

}  // namespace

void LandingFiles::set_moving(File& file, SteadyTime now) const {
    file.changed = now;
    const bool anew = file.state == State::done || file.state == State::refused ||
                      file.state == State::no_plate || (file.state == State::unwhole && file.gave_up);
    if (anew) {
        file.moving_since = now;
        file.told = file.gave_up = false;
        file.patience = 1;
    }
    file.state = State::moving;
}

void LandingFiles::see(const std::vector<FileSeen>& files, SteadyTime now) {
    std::set<std::string_view> there;
    for (const FileSeen& seen : files) {
        there.insert(seen.path);
        const auto [at, fresh] = files_.try_emplace(seen.path);
        File& file = at->second;
        if (fresh) {
            file.seen = seen;
            file.changed = file.moving_since = now;
            latest_change_ = now;
        } else if (!(file.seen == seen)) {
            file.seen = seen;
            if (!file.gave_up || file.state != State::moving) latest_change_ = now;
            if (file.state == State::in_hand) {
                file.changed = now;
                file.changed_in_hand = true;
            } else {
                set_moving(file, now);
            }
        } else if (file.state == State::moving && seconds_between(file.changed, now) >= times_.settle_s) {
            file.state = State::resting;
            file.order = ++rested_;
        }
    }
    std::erase_if(files_, [&](const auto& one) { return !there.contains(one.first); });
}

std::vector<std::string> LandingFiles::take() {
    std::vector<std::pair<std::size_t, std::string>> resting;
    for (auto& [path, file] : files_) {
        if (file.state != State::resting) continue;
        file.state = State::in_hand;
        resting.emplace_back(file.order, path);
    }
    std::sort(resting.begin(), resting.end());
    std::vector<std::string> paths;
    for (auto& [order, path] : resting)
        paths.push_back(std::move(path));
    return paths;
}

void LandingFiles::judge(const std::string& path, Verdict verdict, const std::optional<Problem>& problem,
                         SteadyTime now) {
    const auto at = files_.find(path);
    if (at == files_.end() || at->second.state != State::in_hand) return;
    File& file = at->second;
    const bool changed = std::exchange(file.changed_in_hand, false);
    file.problem = problem;
    switch (verdict) {
        case Verdict::done:
            file.state = State::done;
            break;
        case Verdict::refused:
            file.state = State::refused;
            break;
        case Verdict::no_plate:
            file.state = State::no_plate;
            file.successes = 0;
            break;
        case Verdict::unwhole:
            file.state = State::unwhole;
            file.gave_up = false;
            break;
        case Verdict::later:
            file.state = State::resting;
            break;
    }
    // What it was judged by is no longer what lies there.
    if (changed) set_moving(file, now);
}

void LandingFiles::try_plates_again(bool all) {
    for (auto& [path, file] : files_) {
        if (file.state != State::no_plate) continue;
        ++file.successes;
        if (!all && file.successes < file.patience) continue;
        file.patience *= 2;
        file.state = State::resting;
        file.order = ++rested_;
    }
}

std::vector<LandingFiles::News> LandingFiles::news(SteadyTime now) {
    std::vector<News> out;
    for (auto& [path, file] : files_) {
        if (file.gave_up) continue;
        if (file.state == State::moving) {
            const double moving_s = seconds_between(file.moving_since, now);
            if (moving_s >= times_.give_up_s) {
                file.gave_up = true;
                out.push_back({News::Kind::growing_on, file.seen.name, std::nullopt});
            } else if (!file.told && moving_s >= told_after_settles * times_.settle_s) {
                file.told = true;
                out.push_back({News::Kind::being_written, file.seen.name, std::nullopt});
            }
        } else if (file.state == State::unwhole) {
            if (seconds_between(file.changed, now) >= times_.give_up_s) {
                file.gave_up = true;
                out.push_back({News::Kind::given_up, file.seen.name, file.problem});
            } else if (!file.told) {
                file.told = true;
                out.push_back({News::Kind::unwhole, file.seen.name, file.problem});
            }
        }
    }
    return out;
}

std::vector<LandingFiles::News> LandingFiles::left() const {
    std::vector<News> out;
    for (const auto& [path, file] : files_) {
        if (file.state == State::unwhole && !file.gave_up) {
            out.push_back({News::Kind::given_up, file.seen.name, file.problem});
        } else if (file.state == State::moving) {
            out.push_back({News::Kind::growing_on, file.seen.name, std::nullopt});
        }
    }
    return out;
}

bool LandingFiles::waiting() const {
    return std::any_of(files_.begin(), files_.end(),
                       [](const auto& one) { return one.second.state == State::resting; });
}

bool LandingFiles::settling() const {
    return std::any_of(files_.begin(), files_.end(), [](const auto& one) {
        return one.second.state == State::moving && !one.second.gave_up;
    });
}

std::optional<SteadyTime> LandingFiles::next_rest() const {
    std::optional<SteadyTime> next;
    const auto settle =
        std::chrono::duration_cast<SteadyTime::duration>(std::chrono::duration<double>(times_.settle_s));
    for (const auto& [path, file] : files_) {
        if (file.state != State::moving) continue;
        if (!next || file.changed + settle < *next) next = file.changed + settle;
    }
    return next;
}

std::optional<SteadyTime> LandingFiles::latest_change() const {
    return latest_change_;
}

}  // namespace emberline::tasks
