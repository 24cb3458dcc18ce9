// SPDX-License-Identifier: MIT
#include "tasks/set_aside.hpp"

#include <fmt/format.h>

#include <set>

#include "quantities/text.hpp"
#include "sky/time_scales.hpp"
#include "tasks/find_files.hpp"

namespace emberline::tasks {
namespace {

bool is_date(const std::string& word) {
    return word.size() == 10 && word[4] == '-' && sky::parse_calendar(word);
}

Result<std::vector<std::string>> frames_named(const ledger::Ledger& ledger, const Workspace& workspace,
                                              const std::string& word) {
    const std::string name = frame_name(word, workspace.campaign.folder);
    std::set<std::string> exact, ending;
    const auto read = ledger.for_each_frame([&](const photometry::FrameFluxes& frame) {
        if (frame.frame == word || frame.frame == name) exact.insert(frame.frame);
        if (frame.frame.ends_with("/" + word)) ending.insert(frame.frame);
        return true;
    });
    if (!read) return fail(read.error());
    const std::set<std::string>& found = exact.empty() ? ending : exact;
    return std::vector<std::string>(found.begin(), found.end());
}

Result<bool> has_night(const ledger::Ledger& ledger, const std::string& date) {
    bool found = false;
    const auto read = ledger.for_each_frame([&](const photometry::FrameFluxes& frame) {
        found = found || frame.night == date;
        return !found;
    });
    if (!read) return fail(read.error());
    return found;
}

Problem unknown(const std::string& word, std::string what) {
    return {.what = std::move(what),
            .where = fmt::format("'{}'", word),
            .mend = "Name a night as 2024-02-03, a star by its label, or a frame by its path.",
            .kind = ProblemKind::request};
}

// What was set aside stays so where there is nothing to solve yet.
Result<SetAsideOutcome> solved_anew(const Workspace& workspace, ledger::Ledger& ledger,
                                    SetAsideOutcome outcome) {
    auto resolved = solve_from_ledger(workspace, ledger);
    if (resolved) {
        outcome.resolved = std::move(*resolved);
    } else if (resolved.error().kind == ProblemKind::input) {
        outcome.remark = one_line(resolved.error());
    } else {
        return fail(resolved.error());
    }
    return outcome;
}

}  // namespace

Result<Named> find_named(const Workspace& workspace, const ledger::Ledger& ledger, const std::string& word) {
    if (is_date(word)) {
        const auto found = has_night(ledger, word);
        if (!found) return fail(found.error());
        if (!*found) return fail(unknown(word, "No frame of that night is in the ledger."));
        return Named{ledger::SetAside::night, word};
    }
    if (workspace.sequence.find(word) != nullptr) return Named{ledger::SetAside::star, word};
    const auto frames = frames_named(ledger, workspace, word);
    if (!frames) return fail(frames.error());
    if (frames->size() == 1) return Named{ledger::SetAside::frame, frames->front()};
    if (frames->empty()) return fail(unknown(word, "No night, star or frame has that name."));
    return fail(unknown(word, fmt::format("{} frames end like that: {} and {} for two.", frames->size(),
                                          (*frames)[0], (*frames)[1])));
}

Result<SetAsideOutcome> exclude(const Workspace& workspace, const std::string& word,
                                const std::string& reason) {
    if (trimmed(reason).empty() || !is_plain_text(reason)) {
        return fail({.what = "A reason is needed, in plain words.",
                     .where = "",
                     .mend = "Add --reason \"satellite across the star\".",
                     .kind = ProblemKind::request});
    }
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    const auto named = find_named(workspace, *ledger, word);
    if (!named) return fail(named.error());
    if (auto good = ledger->exclude(named->kind, named->key, trimmed(reason)); !good)
        return fail(good.error());
    return solved_anew(workspace, *ledger, {*named, true, {}, {}});
}

Result<SetAsideOutcome> include(const Workspace& workspace, const std::string& word) {
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    const auto named = find_named(workspace, *ledger, word);
    if (!named) return fail(named.error());
    const auto changed = ledger->include(named->kind, named->key);
    if (!changed) return fail(changed.error());
    return solved_anew(workspace, *ledger, {*named, *changed, {}, {}});
}

}  // namespace emberline::tasks
