// SPDX-License-Identifier: MIT
#include <iostream>
#include <map>
#include <memory>

#include "command/description.hpp"
#include "command/face.hpp"

namespace emberline::command {
namespace {

using Writer = std::string (*)(const CommandWords&);
const std::map<std::string, Writer> writers = {{"bash", bash_completion},
                                               {"zsh", zsh_completion},
                                               {"fish", fish_completion},
                                               {"man", manual_of_commands},
                                               {"json", description_json}};

}  // namespace

// Hidden: for shells, `man` and whoever packs the program, not for a night's work.
void add_describe(CLI::App& app, Face& /*face*/) {
    CLI::App* sub = app.add_subcommand("describe", "The program's commands and options, for other programs");
    sub->group("");
    sub->footer(
        "Examples:\n  emberline describe bash > ~/.local/share/bash-completion/completions/emberline\n"
        "  emberline describe json\n\n"
        "bash, zsh, fish: what the shell completes by. man: the commands' part of the man page.");
    const auto form = std::make_shared<std::string>();
    std::vector<std::string> forms;
    for (const auto& [name, writer] : writers)
        forms.push_back(name);
    sub->add_option("FORM", *form, "What to write")->required()->check(CLI::IsMember(forms));
    sub->callback([&app, form] { std::cout << writers.at(*form)(describe(app)); });
}

}  // namespace emberline::command
