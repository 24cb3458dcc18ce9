// SPDX-License-Identifier: MIT
#include "tasks/nights.hpp"

#include <fmt/format.h>

#include <iostream>
#include <nlohmann/json.hpp>

#include "command/face.hpp"

namespace emberline::command {
namespace {

void run(Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    const auto outcome = tasks::nights(*workspace);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (outcome->solution.nights.empty()) face.status = nothing_measured;
    if (face.json) {
        face.say_json(tasks::document(*outcome));
        return;
    }
    if (outcome->solution.nights.empty()) {
        std::cout << "No night has been measured yet: `emberline measure FRAMES`.\n";
        return;
    }
    std::cout << workspace->campaign.name << '\n' << nights_text(outcome->solution.nights);
    for (const ledger::Exclusion& e : outcome->exclusions)
        std::cout << fmt::format("Set aside: {} ({})\n", e.key, e.reason);
    if (face.quiet) return;
    const std::string flags = flags_text(outcome->solution.nights);
    if (!flags.empty()) std::cout << '\n' << flags;
}

}  // namespace

void add_nights(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("nights", "One line a night and band");
    sub->footer("Example:\n  emberline nights -c my-campaign");
    sub->callback([&face] { run(face); });
}

}  // namespace emberline::command
