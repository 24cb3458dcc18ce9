// SPDX-License-Identifier: MIT
// A ledger of an older schema is killed, or its disk fills, while it is brought up to date. The ledger is the
// old one or the new one, and a copy that bears its name is whole.
#include <fmt/format.h>

#include <filesystem>

#include "faults/study.hpp"
#include "ledger/connection.hpp"
#include "ledger/older_schema.hpp"

namespace emberline::faults {
namespace {

namespace fs = std::filesystem;

constexpr int versions[] = {1, 3, 5};

std::int64_t version_of(const std::string& ledger) {
    return ledger::Connection(ledger, ledger::Connection::Mode::read, 20.0).integer("PRAGMA user_version");
}

// Copies under their names: each holds every row of the ledger before, and nothing else.
void judge_copies(const Measured& older, const std::string& campaign, Tally& tally) {
    for (const auto& entry : fs::directory_iterator(campaign)) {
        const std::string name = entry.path().filename().string();
        if (!name.starts_with("campaign.ledger.version-") || name.find(".unfinished") != std::string::npos ||
            name.ends_with("-wal") || name.ends_with("-shm"))
            continue;
        if (const std::string found = unsound(entry.path().string()); !found.empty())
            tally.loss(name + " is unsound: " + found);
        const Rows rows = rows_of(entry.path().string());
        if (rows.size() != older.before.size() || !lost(older.before, rows).empty() ||
            !lost(rows, older.before).empty())
            tally.loss(name + " is not the ledger before");
    }
}

bool has_copy(const std::string& campaign, int version) {
    return fs::exists(fmt::format("{}.version-{}", ledger_of(campaign), version));
}

const std::vector<Measured>& migrations(Study& study) {
    static std::vector<Measured> all;
    if (!all.empty()) return all;
    for (const int version : versions) {
        const std::string& base =
            study.campaign(fmt::format("version-{}", version), [&](const std::string& place) {
                fs::copy(study.measured(), place, fs::copy_options::recursive);
                ledger::Connection ledger(ledger_of(place), ledger::Connection::Mode::write, 1.0);
                for (const std::string& statement : ledger::testing::statements_back_to(version))
                    ledger.execute(statement);
            });
        all.push_back(study.undisturbed({.name = fmt::format("migration from {}", version),
                                         .base = base,
                                         .words = {"measure", "--again"},
                                         .readable = false}));
    }
    return all;
}

void migrate(Study& study, Tally& tally, int trials, const std::vector<std::string>& faults) {
    const std::vector<Measured>& all = migrations(study);
    for (int i = 0; i < trials; ++i) {
        const std::size_t which = static_cast<std::size_t>(i) % all.size();
        const Measured& older = all[which];
        const std::string campaign = study.copy(older.job.base);
        const std::string& fault = faults[static_cast<std::size_t>(i) / all.size() % faults.size()];
        const Outcome outcome = run_disturbed(study, older, campaign, fault, tally);
        const bool killed = fault == "kill" || fault == "tear";
        if (!killed && outcome.status != 0 && outcome.status != 4)
            tally.difference(fmt::format("ended with {}: {}", outcome.status, outcome.err));
        check_whole(older, campaign, {}, tally);
        judge_copies(older, campaign, tally);
        const auto version = version_of(ledger_of(campaign));
        if (version != versions[which] && !has_copy(campaign, versions[which]))
            tally.loss("it is up to date, and no copy of the older one is there");
        check_again(older, campaign, {}, tally);
        judge_copies(older, campaign, tally);
        if (!has_copy(campaign, versions[which])) tally.loss("no copy of the older ledger is there");
    }
}

}  // namespace

std::vector<Kind> migration_kinds() {
    return {{"kill-migration", "an older ledger, killed while it is brought up to date",
             [](Study& study, Tally& tally, int trials) {
                 migrate(study, tally, trials, {"kill", "tear"});
             }},
            {"full-migration", "likewise, on a disk that is full or fails",
             [](Study& study, Tally& tally, int trials) {
                 migrate(study, tally, trials, {"full", "fail"});
             }}};
}

}  // namespace emberline::faults
