// SPDX-License-Identifier: MIT
#include "page/session.hpp"

#include <fmt/format.h>

#include <sys/stat.h>

#include <algorithm>
#include <filesystem>

namespace emberline::page {
namespace {

constexpr std::size_t most_answers = 32;  // answers that took long
constexpr double ledger_wait_s = 4.0;     // a person waits
constexpr int most_readings = 3;          // of settings that change while they are read

// When and how large: another stamp, another content.
std::string stamp_of(const std::string& path) {
    std::error_code error;
    const auto time = std::filesystem::last_write_time(path, error);
    if (error) return "none";
    const auto size = std::filesystem::file_size(path, error);
    return fmt::format("{}+{}", time.time_since_epoch().count(), error ? 0 : size);
}

}  // namespace

struct Session::Kept {
    std::string name, revision;
    std::mutex making;
    std::any value;  // empty: not made yet
};

// The one connection that stays open, to be told of other programs' commits.
struct Session::LedgerSeen {
    std::optional<ledger::Ledger> open;
    std::string file;  // which one: a ledger that was put in its place is another
    int opened = 0;
    std::string text = "none";
};

Session::Session(PageSettings settings)
    : settings_(std::move(settings)), seen_(std::make_unique<LedgerSeen>()), watcher_(live_) {}
Session::~Session() = default;

Result<std::shared_ptr<const tasks::Workspace>> Session::workspace() {
    const std::scoped_lock lock(mutex_);
    // A stamp is of before the files are read: what is written while they are is seen in the next round.
    // Which file has the sequence is known from the first round on.
    for (int round = 0; round < most_readings; ++round) {
        std::string stamp = stamp_of(settings_.campaign_folder + "/campaign.toml");
        if (workspace_) stamp += " " + stamp_of(workspace_->campaign.path(workspace_->campaign.catalog));
        if (workspace_ && stamp == workspace_stamp_) break;
        std::error_code error;
        if (workspace_ && !std::filesystem::is_directory(settings_.campaign_folder, error)) {
            return fail({.what = "The campaign's folder is gone.",
                         .where = settings_.campaign_folder,
                         .mend = "Bring it back, or the disk that it is on; the page goes on then by itself.",
                         .kind = ProblemKind::storage});
        }
        auto opened = tasks::open_workspace(settings_.campaign_folder);
        if (!opened) return fail(opened.error());
        workspace_ = std::make_shared<const tasks::Workspace>(std::move(*opened));
        workspace_stamp_ = std::move(stamp);
    }
    return workspace_;
}

Result<ledger::Ledger> Session::ledger(ledger::Ledger::Access access) {
    const auto own = workspace();
    if (!own) return fail(own.error());
    return ledger::Ledger::open((*own)->ledger_path(), access, ledger_wait_s);
}

std::string Session::ledger_state() {
    const std::scoped_lock lock(seeing_);
    const std::string path = settings_.campaign_folder + "/campaign.ledger";
    std::error_code error;
    struct stat status {};
    const std::string file =
        ::stat(path.c_str(), &status) == 0 ? fmt::format("{}:{}", status.st_dev, status.st_ino) : "none";
    if (file != seen_->file) {
        seen_->open.reset();
        seen_->file = file;
    }
    if (file == "none") return seen_->text = "none";
    if (!seen_->open) {
        auto opened = ledger::Ledger::open(path, ledger::Ledger::Access::read, 0.0);
        if (!opened) return seen_->text;  // locked: as it was
        seen_->open.emplace(std::move(*opened));
        ++seen_->opened;
    }
    if (const auto version = seen_->open->data_version()) {
        seen_->text = fmt::format("{}.{}", seen_->opened, *version);
    } else {
        seen_->open.reset();
    }
    return seen_->text;
}

std::string Session::revision() {
    const auto own = workspace();
    const std::scoped_lock lock(mutex_);
    return fmt::format("{} {}", own ? workspace_stamp_ : "none", ledger_state());
}

Result<std::any> Session::remember(const std::string& name, const std::function<Result<std::any>()>& make) {
    const std::string now = revision();
    std::shared_ptr<Kept> kept;
    {
        const std::scoped_lock lock(mutex_);
        const auto found = std::find_if(kept_.begin(), kept_.end(), [&](const auto& one) {
            return one->name == name && one->revision == now;
        });
        if (found != kept_.end()) {
            kept = *found;
            kept_.erase(found);
        } else {
            kept = std::make_shared<Kept>();
            kept->name = name;
            kept->revision = now;
        }
        kept_.push_back(kept);  // the last one asked for goes last
        std::erase_if(kept_, [&](const auto& one) { return one->name == name && one->revision != now; });
        if (kept_.size() > most_answers) kept_.erase(kept_.begin());
    }
    const std::scoped_lock lock(kept->making);
    if (kept->value.has_value()) return kept->value;
    auto made = make();
    if (made) kept->value = *made;
    return made;
}

Result<void> Session::watch() {
    const auto own = workspace();
    if (!own) return fail(own.error());
    const std::string folder =
        settings_.watch && !settings_.watch->empty() ? *settings_.watch : (*own)->campaign.path("frames");
    return watcher_.start(**own, folder, settings_.threads);
}

}  // namespace emberline::page
