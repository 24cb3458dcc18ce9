// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "tasks/set_aside.hpp"

namespace emberline::command {
namespace {

std::string spoken(const tasks::Named& named) {
    switch (named.kind) {
        case ledger::SetAside::frame:
            return "Frame " + named.key;
        case ledger::SetAside::night:
            return "The night of " + named.key;
        case ledger::SetAside::star:
            return "Star " + named.key;
    }
    return named.key;
}

void finish(const Result<tasks::SetAsideOutcome>& outcome, const std::string& done, Face& face) {
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
    if (!outcome->remark.empty()) {
        std::cout << spoken(outcome->named)
                  << (outcome->changed ? done : " was not set aside; nothing changed.") << '\n'
                  << outcome->remark << '\n';
        return;
    }
    std::cout << spoken(outcome->named) << (outcome->changed ? done : " was not set aside; nothing changed.")
              << "\n\n"
              << nights_text(outcome->resolved.campaign.solution.nights);
}

}  // namespace

void add_exclude(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("exclude", "Set a frame, a night or a comparison star aside, with a reason");
    sub->footer(
        "Examples:\n  emberline exclude frames/a.fits --reason \"satellite across the star\"\n"
        "  emberline exclude 2024-03-14 --reason haze\n  emberline exclude 131b --reason \"it varies\"");
    const auto word = std::make_shared<std::string>();
    const auto reason = std::make_shared<std::string>();
    sub->add_option("WHAT", *word, "A frame's path, a night's date, or a star's label")->required();
    sub->add_option("--reason", *reason, "Why, in a few words")->required();
    sub->callback([&face, word, reason] {
        const auto workspace = tasks::open_workspace(face.campaign);
        if (!workspace) {
            face.status = face.say(workspace.error());
            return;
        }
        finish(tasks::exclude(*workspace, *word, *reason), " is set aside.", face);
    });
}

void add_include(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("include", "Take back what was set aside");
    sub->footer("Example:\n  emberline include 131b");
    const auto word = std::make_shared<std::string>();
    sub->add_option("WHAT", *word, "A frame's path, a night's date, or a star's label")->required();
    sub->callback([&face, word] {
        const auto workspace = tasks::open_workspace(face.campaign);
        if (!workspace) {
            face.status = face.say(workspace.error());
            return;
        }
        finish(tasks::include(*workspace, *word), " counts again.", face);
    });
}

}  // namespace emberline::command
