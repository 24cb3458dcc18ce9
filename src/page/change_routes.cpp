// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <cstdint>
#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "page/session.hpp"
#include "tasks/set_aside.hpp"
#include "tasks/try_set_aside.hpp"

namespace emberline::page {
namespace {

using tasks::Named;
using tasks::SetAsideAction;

struct Asked {
    SetAsideAction action = SetAsideAction::exclude;
    ledger::SetAside kind = ledger::SetAside::star;
    std::string key;
};

Result<Asked> asked_for(const std::string& action, const std::string& kind, std::string key) {
    const auto what = tasks::set_aside_action(action);
    if (!what) return fail(what.error());
    const auto of_kind = tasks::set_aside_kind(kind);
    if (!of_kind) return fail(of_kind.error());
    return Asked{*what, *of_kind, std::move(key)};
}

Result<Answer> preview(Session& session, const Query& query) {
    const auto asked = asked_for(query.text("action").value_or("exclude"), query.text("kind").value_or(""),
                                 query.text("key").value_or(""));
    if (!asked) return fail(asked.error());
    const std::string name =
        fmt::format("preview {} {} {}", tasks::word(asked->action), tasks::word(asked->kind), asked->key);
    const auto tried = session.remembered<tasks::TriedSetAside>(name, [&]() -> Result<tasks::TriedSetAside> {
        const auto workspace = session.workspace();
        if (!workspace) return fail(workspace.error());
        const auto ledger = session.ledger();
        if (!ledger) return fail(ledger.error());
        const auto named = tasks::find_named(**workspace, *ledger, asked->kind, asked->key);
        if (!named) return fail(named.error());
        return tasks::try_set_aside(**workspace, *ledger, *named, asked->action);
    });
    if (!tried) return fail(tried.error());
    return answer(tasks::document(**tried));
}

std::string told(const tasks::SetAsideOutcome& done, SetAsideAction action, const std::string& reason) {
    const std::string thing = tasks::in_words(done.named);
    if (action == SetAsideAction::exclude) {
        return done.changed
                   ? fmt::format("{} is set aside: {}", thing, reason)
                   : fmt::format("{} is set aside already, for that reason; nothing changed.", thing);
    }
    return thing + (done.changed ? " counts again." : " was not set aside; nothing changed.");
}

std::optional<std::string> reason_of(const std::optional<ledger::Exclusion>& exclusion) {
    return exclusion ? std::optional(exclusion->reason) : std::nullopt;
}

// `made`: its reason as the change left it; absent: not set aside.
int log_change(Session& session, const std::string& words, const Named& named,
               const std::optional<std::string>& made, const std::optional<std::string>& before) {
    return session.changes().add(words, [&session, named, made, before]() -> Result<void> {
        const auto workspace = session.workspace();
        if (!workspace) return fail(workspace.error());
        auto ledger = session.ledger(ledger::Ledger::Access::write);
        if (!ledger) return fail(ledger.error());
        const auto done = tasks::undo_set_aside(**workspace, *ledger, named, made, before);
        if (!done) return fail(done.error());
        return {};
    });
}

Json undoable(Session& session) {
    const auto newest = session.changes().newest();
    if (!newest) return nullptr;
    return {{"number", newest->number}, {"words", newest->words}};
}

Result<Answer> change(Session& session, const Query& query) {
    const auto body = query.object();
    if (!body) return fail(body.error());
    const auto action = text_member(*body, "action"), kind = text_member(*body, "kind"),
               key = text_member(*body, "key"), reason = text_member(*body, "reason", "");
    for (const auto* text : {&action, &kind, &key, &reason}) {
        if (!*text) return fail(text->error());
    }
    const auto asked = asked_for(*action, *kind, *key);
    if (!asked) return fail(asked.error());
    const std::scoped_lock lock(session.changing());
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    // Only reading tells of a ledger that is not there; writing makes one.
    if (const auto there = session.ledger(); !there) return fail(there.error());
    auto ledger = session.ledger(ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    const auto named = tasks::find_named(**workspace, *ledger, asked->kind, asked->key);
    if (!named) return fail(named.error());
    const bool excluding = asked->action == SetAsideAction::exclude;
    const auto done = excluding ? tasks::exclude(**workspace, *ledger, *named, *reason)
                                : tasks::include(**workspace, *ledger, *named);
    if (!done) return fail(done.error());
    const auto now = tasks::exclusion_of(*ledger, *named);
    if (!now) return fail(now.error());
    std::string words = told(*done, asked->action, excluding && *now ? (*now)->reason : "");
    Json json = {{"changed", done->changed}, {"words", words}, {"change", nullptr}};
    if (done->changed) {
        const int number = log_change(session, words, *named, reason_of(*now), reason_of(done->before));
        json["change"] = {{"number", number}, {"words", words}};
    }
    if (!done->remark.empty()) json["words"] = words + " " + done->remark;
    json["revision"] = session.revision();
    return answer(json);
}

Result<Answer> changes(Session& session, const Query&) {
    Json json = {{"changes", Json::array()}, {"undoable", undoable(session)}};
    for (const Change& one : session.changes().all()) {
        json["changes"].push_back(
            {{"number", one.number}, {"words", one.words}, {"since", one.since}, {"undone", one.undone}});
    }
    return answer(json);
}

Answer other_is_newest(const std::optional<Change>& newest) {
    const Problem problem =
        newest ? Problem{.what = fmt::format("Another change is the newest one: {}", newest->words),
                         .where = fmt::format("change {}", newest->number),
                         .mend = "Look at it, and take it back first."}
               : Problem{
                     .what = "There is nothing to take back.",
                     .where = "",
                     .mend = "Only what was changed from this page since it was started can be undone here."};
    return refusal(409, problem);
}

Result<std::int64_t> number_asked(const Query& query) {
    const auto body = query.object();
    if (!body) return fail(body.error());
    const auto found = body->find("number");
    if (found == body->end() || !found->is_number_integer()) {
        return fail({.what = "'number' is missing from the body, or no whole number.",
                     .where = "the request",
                     .mend = "Say which change is to be taken back.",
                     .kind = ProblemKind::request});
    }
    return found->get<std::int64_t>();
}

// The newest alone, by its number: two open pages must not undo each other's work unawares.
Result<Answer> undo(Session& session, const Query& query) {
    const auto number = number_asked(query);
    if (!number) return fail(number.error());
    const std::scoped_lock lock(session.changing());
    // What is wrong with the campaign's files is not taken for a change that is reverted already.
    if (const auto workspace = session.workspace(); !workspace) return fail(workspace.error());
    const auto newest = session.changes().newest();
    if (!newest || newest->number != *number) return other_is_newest(newest);
    const auto done = newest->take_back();
    if (!done && done.error().kind != ProblemKind::request) return fail(done.error());
    session.changes().mark_undone(newest->number);
    const std::string words = done ? fmt::format("Taken back: {}", newest->words)
                                   : fmt::format("Nothing was changed: {}", done.error().what);
    return answer({{"words", words}, {"revision", session.revision()}, {"undoable", undoable(session)}});
}

}  // namespace

std::vector<Route> change_routes() {
    return {{false, "/api/preview", preview},
            {false, "/api/changes", changes},
            {true, "/api/changes", change},
            {true, "/api/changes/undo", undo}};
}

}  // namespace emberline::page
