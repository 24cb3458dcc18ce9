// SPDX-License-Identifier: MIT
#include "tasks/set_aside.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <set>

#include "quantities/nearest_word.hpp"
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

Result<std::optional<Named>> find_set_aside(const ledger::Ledger& ledger, const std::string& word,
                                            std::optional<ledger::SetAside> kind) {
    const auto exclusions = ledger.exclusions();
    if (!exclusions) return fail(exclusions.error());
    for (const ledger::Exclusion& e : *exclusions) {
        if (e.key == word && (!kind || e.kind == *kind)) return Named{e.kind, e.key};
    }
    return std::nullopt;
}

Result<Named> find_night(const ledger::Ledger& ledger, const std::string& date) {
    const auto found = has_night(ledger, date);
    if (!found) return fail(found.error());
    if (!*found) return fail(unknown(date, "No frame of that night is in the ledger."));
    return Named{ledger::SetAside::night, date};
}

Result<Named> find_frame(const Workspace& workspace, const ledger::Ledger& ledger, const std::string& word,
                         std::string_view none) {
    const auto frames = frames_named(ledger, workspace, word);
    if (!frames) return fail(frames.error());
    if (frames->size() == 1) return Named{ledger::SetAside::frame, frames->front()};
    if (frames->empty()) return fail(unknown(word, std::string(none)));
    return fail(unknown(word, fmt::format("{} frames end like that: {} and {} for two.", frames->size(),
                                          (*frames)[0], (*frames)[1])));
}

// " Did you mean …?", of stars and of frames by their files' names; empty: nothing is like it.
std::string alike(const Workspace& workspace, const ledger::Ledger& ledger, const std::string& word) {
    std::vector<std::string> known;
    for (const standard::ComparisonStar& star : workspace.sequence.stars)
        known.push_back(star.label);
    std::string frame_like;
    const std::string own = std::filesystem::path(word).filename().string();
    const auto read = ledger.for_each_frame([&](const photometry::FrameFluxes& frame) {
        const std::string file = std::filesystem::path(frame.frame).filename().string();
        const bool like = file.starts_with(own) || !nearest_word(own, {file}).empty();
        if (like) frame_like = frame.frame;
        return !like;
    });
    const std::string guess = read && !frame_like.empty() ? frame_like : nearest_word(word, known);
    return guess.empty() ? std::string() : fmt::format(" Did you mean {}?", guess);
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

Result<ledger::SetAside> set_aside_kind(std::string_view name) {
    for (const ledger::SetAside kind :
         {ledger::SetAside::frame, ledger::SetAside::night, ledger::SetAside::star}) {
        if (word(kind) == name) return kind;
    }
    return fail({.what = fmt::format("'{}' is no kind of thing that can be set aside.", name),
                 .where = "kind",
                 .mend = "Use frame, night or star.",
                 .kind = ProblemKind::request});
}

std::string_view word(ledger::SetAside kind) {
    switch (kind) {
        case ledger::SetAside::frame:
            return "frame";
        case ledger::SetAside::night:
            return "night";
        case ledger::SetAside::star:
            break;
    }
    return "star";
}

std::string in_words(const Named& named) {
    switch (named.kind) {
        case ledger::SetAside::frame:
            return "Frame " + named.key;
        case ledger::SetAside::night:
            return "The night of " + named.key;
        case ledger::SetAside::star:
            break;
    }
    return "Star " + named.key;
}

Result<Named> find_named(const Workspace& workspace, const ledger::Ledger& ledger, const std::string& word) {
    const auto known = find_set_aside(ledger, word, std::nullopt);
    if (!known) return fail(known.error());
    if (*known) return **known;
    if (is_date(word)) return find_night(ledger, word);
    if (workspace.sequence.find(word) != nullptr) return Named{ledger::SetAside::star, word};
    return find_frame(workspace, ledger, word,
                      "No night, star or frame has that name." + alike(workspace, ledger, word));
}

Result<Named> find_named(const Workspace& workspace, const ledger::Ledger& ledger, ledger::SetAside kind,
                         const std::string& word) {
    const auto known = find_set_aside(ledger, word, kind);
    if (!known) return fail(known.error());
    if (*known) return **known;
    if (kind == ledger::SetAside::night) return find_night(ledger, word);
    if (kind == ledger::SetAside::frame)
        return find_frame(workspace, ledger, word, "No frame has that name.");
    if (workspace.sequence.find(word) != nullptr) return Named{kind, word};
    return fail(unknown(word, "No star of the sequence has that label."));
}

Result<std::optional<ledger::Exclusion>> exclusion_of(const ledger::Ledger& ledger, const Named& named) {
    const auto exclusions = ledger.exclusions();
    if (!exclusions) return fail(exclusions.error());
    for (const ledger::Exclusion& e : *exclusions) {
        if (e.kind == named.kind && e.key == named.key) return e;
    }
    return std::nullopt;
}

Result<SetAsideOutcome> exclude(const Workspace& workspace, ledger::Ledger& ledger, const Named& named,
                                const std::string& reason) {
    if (trimmed(reason).empty() || !is_plain_text(reason)) {
        return fail({.what = "A reason is needed, in plain words.",
                     .where = "",
                     .mend = "Add --reason \"satellite across the star\".",
                     .kind = ProblemKind::request});
    }
    auto before = exclusion_of(ledger, named);
    if (!before) return fail(before.error());
    if (auto good = ledger.exclude(named.kind, named.key, trimmed(reason)); !good) return fail(good.error());
    const bool changed = !*before || (*before)->reason != trimmed(reason);
    return solved_anew(workspace, ledger, {named, changed, std::move(*before), {}, {}});
}

Result<SetAsideOutcome> include(const Workspace& workspace, ledger::Ledger& ledger, const Named& named) {
    auto before = exclusion_of(ledger, named);
    if (!before) return fail(before.error());
    const auto changed = ledger.include(named.kind, named.key);
    if (!changed) return fail(changed.error());
    return solved_anew(workspace, ledger, {named, *changed, std::move(*before), {}, {}});
}

Result<SetAsideOutcome> undo_set_aside(const Workspace& workspace, ledger::Ledger& ledger, const Named& named,
                                       const std::optional<std::string>& made,
                                       const std::optional<std::string>& before) {
    const auto now = exclusion_of(ledger, named);
    if (!now) return fail(now.error());
    if ((*now ? std::optional((*now)->reason) : std::nullopt) != made) {
        return fail(
            {.what = fmt::format(
                 "{} {}: something else has changed it since, and it was left so.", in_words(named),
                 *now ? fmt::format("is set aside now ({})", (*now)->reason) : "is not set aside any more"),
             .where = workspace.campaign.folder,
             .mend = "Look at it as it is now, then set it aside or take it back.",
             .kind = ProblemKind::request});
    }
    return before ? exclude(workspace, ledger, named, *before) : include(workspace, ledger, named);
}

Result<SetAsideOutcome> exclude(const Workspace& workspace, const std::string& word,
                                const std::string& reason) {
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    const auto named = find_named(workspace, *ledger, word);
    if (!named) return fail(named.error());
    return exclude(workspace, *ledger, *named, reason);
}

Result<SetAsideOutcome> include(const Workspace& workspace, const std::string& word) {
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    const auto named = find_named(workspace, *ledger, word);
    if (!named) return fail(named.error());
    return include(workspace, *ledger, *named);
}

}  // namespace emberline::tasks
