// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "tasks/set_aside.hpp"
#include "tasks/try_set_aside.hpp"

namespace emberline::command {
namespace {

struct Wording {
    std::string done, nothing_done;
};

void finish(const Result<tasks::SetAsideOutcome>& outcome, const Wording& wording, Face& face) {
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (face.json) {
        face.say_json({{"what", outcome->named.key},
                       {"changed", outcome->changed},
                       {"solution_changed", outcome->resolved.changed}});
        return;
    }
    std::cout << tasks::in_words(outcome->named) << (outcome->changed ? wording.done : wording.nothing_done)
              << '\n';
    if (!outcome->remark.empty()) {
        std::cout << outcome->remark << '\n';
        return;
    }
    std::cout << '\n' << nights_text(outcome->resolved.campaign.solution.nights);
}

std::string magnitude_text(const std::optional<ValueWithError>& mag) {
    return mag ? fmt::format("{:.3f} ± {:.3f}", mag->value, mag->err) : "none";
}

std::string table_of(const std::vector<tasks::TriedNight>& nights) {
    TextTable table(
        {"Night", "Band", "Instrument", "As it is", "As it would be", "Change", "In random errors"});
    for (const tasks::TriedNight& night : nights) {
        const auto change = night.change_mag(), sigma = night.change_sigma();
        table.add({night.night, night.band.name(), night.instrument, magnitude_text(night.before_mag),
                   magnitude_text(night.after_mag), change ? fmt::format("{:+.3f}", *change) : "",
                   sigma ? fmt::format("{:+.1f}", *sigma) : ""});
    }
    return table.text();
}

std::string rate_text(const std::optional<ValueWithError>& rate) {
    return rate ? fmt::format("{:.4f} ± {:.4f}", rate->value, rate->err) : "none";
}

// What would be; nothing is kept.
void try_it(const tasks::Workspace& workspace, const std::string& word, tasks::SetAsideAction action,
            Face& face) {
    const auto tried = [&]() -> Result<tasks::TriedSetAside> {
        const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
        if (!ledger) return fail(ledger.error());
        const auto named = tasks::find_named(workspace, *ledger, word);
        if (!named) return fail(named.error());
        return tasks::try_set_aside(workspace, *ledger, *named, action);
    }();
    if (!tried) {
        face.status = face.say(tried.error());
        return;
    }
    if (face.json) {
        face.say_json(tasks::document(*tried));
        return;
    }
    std::cout << tried->words << '\n';
    if (!tried->nights.empty()) std::cout << '\n' << table_of(tried->nights) << '\n';
    for (const tasks::TriedDecline& decline : tried->decline) {
        std::cout << fmt::format("Decline in {}, mag per day: {} as it is, {} as it would be.\n",
                                 decline.band.name(), rate_text(decline.before_mag_per_day),
                                 rate_text(decline.after_mag_per_day));
    }
    for (const std::string& remark : tried->remarks)
        std::cout << remark << '\n';
    std::cout << "Nothing was changed.\n";
}

struct ExcludeOptions {
    std::string word, reason;
    bool dry_run = false;
};

void add_what(CLI::App& sub, ExcludeOptions& request) {
    sub.add_option("WHAT", request.word, "A frame's path, a night's date, or a star's label")->required();
    sub.add_flag("--dry-run", request.dry_run, "Only show what would change");
}

}  // namespace

void add_exclude(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("exclude", "Set a frame, a night or a comparison star aside, with a reason");
    sub->footer(
        "Examples:\n  emberline exclude frames/a.fits --reason \"satellite across the star\"\n"
        "  emberline exclude 2024-03-14 --reason haze\n  emberline exclude 131b --reason \"it varies\"\n"
        "  emberline exclude 131b --dry-run");
    const auto request = std::make_shared<ExcludeOptions>();
    add_what(*sub, *request);
    const CLI::Option* reason =
        sub->add_option("--reason", request->reason, "Why, in a few words; not needed for a dry run")
            ->type_name("WHY");
    sub->callback([&face, request, reason] {
        if (!request->dry_run && reason->count() == 0) throw CLI::RequiredError("--reason");
        const auto workspace = tasks::open_workspace(face.campaign);
        if (!workspace) {
            face.status = face.say(workspace.error());
            return;
        }
        if (request->dry_run) return try_it(*workspace, request->word, tasks::SetAsideAction::exclude, face);
        finish(tasks::exclude(*workspace, request->word, request->reason),
               {" is set aside.", " is set aside already, for that reason; nothing changed."}, face);
    });
}

void add_include(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("include", "Take back what was set aside");
    sub->footer("Examples:\n  emberline include 131b\n  emberline include 131b --dry-run");
    const auto request = std::make_shared<ExcludeOptions>();
    add_what(*sub, *request);
    sub->callback([&face, request] {
        const auto workspace = tasks::open_workspace(face.campaign);
        if (!workspace) {
            face.status = face.say(workspace.error());
            return;
        }
        if (request->dry_run) return try_it(*workspace, request->word, tasks::SetAsideAction::include, face);
        finish(tasks::include(*workspace, request->word),
               {" counts again.", " was not set aside; nothing changed."}, face);
    });
}

}  // namespace emberline::command
