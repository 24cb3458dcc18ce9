// SPDX-License-Identifier: MIT
#include "page/watcher.hpp"

#include <filesystem>
#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "sky/time_scales.hpp"

namespace emberline::page {

Watcher::~Watcher() {
    stop();
}

Result<void> Watcher::start(const tasks::Workspace& workspace, const std::string& folder, int threads) {
    const std::scoped_lock starting(starting_);
    if (state().under_way) {
        return fail({.what = "The folder is being watched already.",
                     .where = state().folder,
                     .mend = "Stop that first to watch another.",
                     .kind = ProblemKind::request});
    }
    std::error_code error;
    if (!std::filesystem::is_directory(folder, error)) {
        return fail({.what = "There is no such folder to watch.",
                     .where = folder,
                     .mend = "Make it, or start the page with `--watch FOLDER`.",
                     .kind = ProblemKind::request});
    }
    if (thread_.joinable()) thread_.join();
    asked_to_stop_ = false;
    {
        const std::scoped_lock lock(mutex_);
        state_ = {.folder = folder, .since = sky::iso(sky::now(), 0), .under_way = true};
    }
    live_.tell("watch", watching_text(state()));
    thread_ = std::thread([this, workspace, folder, threads] {
        tasks::WatchRequest request;
        request.folder = folder;
        request.threads = threads;
        request.stop = &asked_to_stop_;
        const auto outcome = tasks::watch(workspace, request, [this](const auto& event) { hear(event); });
        {
            const std::scoped_lock lock(mutex_);
            state_.under_way = false;
            if (!outcome) state_.ended = outcome.error();
        }
        live_.tell("watch", watching_text(state()));
    });
    return {};
}

bool Watcher::stop() {
    const std::scoped_lock starting(starting_);
    const bool was = state().under_way;
    asked_to_stop_ = true;
    if (thread_.joinable()) thread_.join();
    return was;
}

Watching Watcher::state() const {
    const std::scoped_lock lock(mutex_);
    return state_;
}

void Watcher::hear(const tasks::WatchEvent& event) {
    using Kind = tasks::WatchEvent::Kind;
    {
        const std::scoped_lock lock(mutex_);
        if (event.kind == Kind::measured) ++state_.measured;
        if (event.kind == Kind::refused) ++state_.refused;
        const std::string name = std::filesystem::path(event.frame).filename().string();
        state_.last = event.kind == Kind::measured  ? name + " is measured."
                      : event.kind == Kind::refused ? name + " is refused: " + event.problem->what
                      : event.problem               ? one_line(*event.problem)
                                                    : event.sentence;
    }
    live_.tell("frame", answer(tasks::document(event)).body);
    live_.tell("watch", watching_text(state()));
}

std::string watching_text(const Watching& watching) {
    return answer({{"under_way", watching.under_way},
                   {"folder", watching.folder},
                   {"since", watching.since},
                   {"measured", watching.measured},
                   {"refused", watching.refused},
                   {"last", watching.last},
                   {"ended", watching.ended ? tasks::document(*watching.ended) : Json(nullptr)}})
        .body;
}

}  // namespace emberline::page
