// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>

#include "command/complete.hpp"

namespace emberline::command {
namespace {

// For single quotes, inside which _arguments reads brackets and backslashes itself.
std::string escaped(const std::string& text, std::string_view special) {
    std::string out;
    for (const char c : text) {
        if (c == '\'') {
            out += "'\\''";
            continue;
        }
        if (special.find(c) != std::string_view::npos) out += '\\';
        out += c;
    }
    return out;
}

std::string function_name(const std::string& path) {
    std::string name = path.empty() ? "_emberline" : "_emberline_" + path;
    std::replace(name.begin(), name.end(), ' ', '_');
    return name;
}

std::string action(const OptionWords& option) {
    switch (offer_of(option)) {
        case Offer::words:
        case Offer::band:
            return "(" + offered_words(option) + ")";
        case Offer::folder:
            return "_files -/";
        case Offer::file:
        case Offer::frame:
        case Offer::what:
            return "_files";
        case Offer::nothing:
        case Offer::star:
            break;
    }
    return " ";
}

std::string option_line(const OptionWords& option) {
    const std::string value = option.value.empty()
                                  ? ""
                                  : fmt::format("{}{}:{}", option.may_be_bare ? "::" : ":",
                                                escaped(option.value, ":\\"), action(option));
    const std::string meaning = "[" + escaped(option.meaning, "[]\\") + "]" + value;
    std::string out;
    for (const std::string& name : option.names) {
        // All but the repeated ones are offered once.
        const std::string once = option.repeats ? "*" : fmt::format("({})", fmt::join(option.names, " "));
        out += fmt::format("        '{}{}{}{}' \\\n", once, name,
                           option.value.empty() || !name.starts_with("--") ? "" : "=", meaning);
    }
    return out;
}

std::string function_of(const CommandWords& command, const CommandWords& program) {
    std::string text = function_name(command.path) + "() {\n";
    if (!command.commands.empty())
        text += "    local curcontext=\"$curcontext\" state line ret=1\n    typeset -A opt_args\n";
    text += fmt::format("    _arguments {}\\\n", command.commands.empty() ? "" : "-C ");
    for (const OptionWords& option : options_of(command, program))
        text += option_line(option);
    if (command.commands.empty()) {
        for (const OptionWords& positional : command.positionals)
            text += fmt::format("        '{}:{}:{}' \\\n", positional.repeats ? "*" : "", positional.value,
                                action(positional));
        return text + "        && return 0\n    return 1\n}\n\n";
    }
    text +=
        "        '1: :->command' '*:: :->rest' && ret=0\n    case $state in\n        command)\n"
        "            local -a commands=(\n";
    for (const CommandWords& sub : command.commands)
        text += fmt::format("                '{}:{}'\n", last_word(sub.path), escaped(sub.meaning, ":\\"));
    text +=
        "            )\n            _describe -t commands command commands && ret=0\n            ;;\n"
        "        rest)\n            case $words[1] in\n";
    for (const CommandWords& sub : command.commands)
        text +=
            fmt::format("                {}) {} && ret=0 ;;\n", last_word(sub.path), function_name(sub.path));
    return text + "            esac\n            ;;\n    esac\n    return ret\n}\n\n";
}

}  // namespace

std::string zsh_completion(const CommandWords& program) {
    std::string text =
        "#compdef emberline\n# Completion of emberline in zsh, made by `emberline describe zsh`.\n\n";
    for (const CommandWords* command : all_commands(program))
        text += function_of(*command, program);
    return text + "_emberline \"$@\"\n";
}

}  // namespace emberline::command
