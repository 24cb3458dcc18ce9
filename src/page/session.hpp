// SPDX-License-Identifier: MIT
// page/session — one campaign shown by one program: its settings as they are on the disk now, its ledger,
// what was reckoned before, and what this page has changed. Used by many threads. Private to this room.
#pragma once

#include <any>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "ledger/ledger.hpp"
#include "page/change_log.hpp"
#include "page/live.hpp"
#include "page/page_settings.hpp"
#include "page/pyramids.hpp"
#include "page/watcher.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::page {

class Session {
  public:
    explicit Session(PageSettings settings);
    ~Session();
    Session(const Session&) = delete;
    Session& operator=(const Session&) = delete;

    [[nodiscard]] const PageSettings& settings() const { return settings_; }

    // Read anew where campaign.toml or the sequence changed on the disk. Problem: as of open_workspace; the
    // folder is gone (storage).
    [[nodiscard]] Result<std::shared_ptr<const tasks::Workspace>> workspace();
    // A ledger of one's own, for this thread. Problem: nothing measured yet (input); locked, damaged
    // (storage): it waits for a few seconds only, since a person waits for the answer.
    [[nodiscard]] Result<ledger::Ledger> ledger(ledger::Ledger::Access access = ledger::Ledger::Access::read);

    // Stands for the state of settings, sequence and ledger: the same text, the same answers, as long as this
    // program runs.
    [[nodiscard]] std::string revision();

    // What was made of the same revision under that name is not made again; one thread makes it, others wait.
    template <class T>
    [[nodiscard]] Result<std::shared_ptr<const T>> remembered(const std::string& name,
                                                              const std::function<Result<T>()>& make) {
        auto kept = remember(name, [&]() -> Result<std::any> {
            auto made = make();
            if (!made) return fail(made.error());
            return std::any(std::make_shared<const T>(std::move(*made)));
        });
        if (!kept) return fail(kept.error());
        return std::any_cast<std::shared_ptr<const T>>(*kept);
    }

    // Changes of the ledger come one after the other.
    [[nodiscard]] std::mutex& changing() { return changing_; }
    [[nodiscard]] ChangeLog& changes() { return changes_; }
    [[nodiscard]] Live& live() { return live_; }
    [[nodiscard]] Watcher& watcher() { return watcher_; }
    [[nodiscard]] Pyramids& pyramids() { return pyramids_; }
    // The folder of the settings, or the campaign's frames/. Problem: as of Watcher::start.
    [[nodiscard]] Result<void> watch();

  private:
    struct Kept;
    struct LedgerSeen;
    [[nodiscard]] Result<std::any> remember(const std::string& name,
                                            const std::function<Result<std::any>()>& make);

    [[nodiscard]] std::string ledger_state();

    PageSettings settings_;
    std::mutex seeing_;
    std::unique_ptr<LedgerSeen> seen_;
    std::mutex mutex_;  // of what is kept
    std::shared_ptr<const tasks::Workspace> workspace_;
    std::string workspace_stamp_;
    std::vector<std::shared_ptr<Kept>> kept_;
    std::mutex changing_;
    ChangeLog changes_;
    Live live_;
    Watcher watcher_;
    Pyramids pyramids_;
};

}  // namespace emberline::page
