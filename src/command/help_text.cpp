// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>

#include "command/description.hpp"
#include "command/face.hpp"
#include "quantities/text.hpp"

namespace emberline::command {
namespace {

constexpr std::size_t line_width = 96;
constexpr std::size_t names_width = 28;

// Lines of words, each after the first begun with so many spaces.
std::string wrapped(const std::string& text, std::size_t indent, std::size_t taken) {
    std::string out;
    std::size_t column = taken;
    for (const std::string_view word : split(text, ' ')) {
        const std::size_t width = shown_width(word);
        if (column > indent && column + 1 + width > line_width) {
            out += '\n' + std::string(indent, ' ');
            column = indent;
        } else if (column > indent) {
            out += ' ';
            ++column;
        }
        out += word;
        column += width;
    }
    return out;
}

std::string entry(const std::string& name, const std::string& meaning) {
    std::string line = "  " + name;
    line += line.size() + 2 > names_width ? "\n" + std::string(names_width, ' ')
                                          : std::string(names_width - line.size(), ' ');
    return line + wrapped(meaning, names_width, names_width) + '\n';
}

std::string entry(const OptionWords& option) {
    std::string name = option.name();
    if (!option.names.empty() && !option.value.empty())
        name += option.may_be_bare ? " [" + option.value + "]" : " " + option.value;
    const std::string conditions = option.conditions();
    return entry(name, option.meaning + (conditions.empty() ? "" : " (" + conditions + ")"));
}

// Examples begin with spaces and are left as they are; the lines of a paragraph are joined, and wrapped.
std::string footer_text(const std::string& footer) {
    std::string out, paragraph;
    const auto end_paragraph = [&] {
        if (!paragraph.empty()) out += wrapped(paragraph, 0, 0) + '\n';
        paragraph.clear();
    };
    for (const std::string_view line : split(footer, '\n')) {
        if (line.empty() || line.starts_with(' ')) {
            end_paragraph();
            out += std::string(line) + '\n';
        } else {
            paragraph += (paragraph.empty() ? "" : " ") + std::string(line);
        }
    }
    end_paragraph();
    return out;
}

}  // namespace

std::string HelpText::make_help(const CLI::App* app, std::string /*name*/,
                                CLI::AppFormatMode /*mode*/) const {
    const CLI::App* root = app;
    std::string path;
    for (; root->get_parent() != nullptr; root = root->get_parent())
        path = root->get_name() + (path.empty() ? "" : " " + path);
    const CommandWords program = describe(*root);
    const auto all = all_commands(program);
    const auto found =
        std::find_if(all.begin(), all.end(), [&](const auto* one) { return one->path == path; });
    // A hidden command is described by itself.
    const CommandWords command = found == all.end() ? describe(*app) : **found;

    std::string text = wrapped(command.meaning, 0, 0) + "\n\nUsage: " + command.usage() + '\n';
    if (!command.positionals.empty()) text += '\n';
    for (const OptionWords& positional : command.positionals)
        text += entry(positional);
    text += "\nOptions:\n";
    for (const OptionWords& option : command.options)
        text += entry(option);
    if (app != root) {
        std::vector<std::string> common;
        for (const OptionWords& option : common_options(program))
            common.push_back(option.name() + (option.value.empty() ? "" : " " + option.value));
        text += entry("of every command", fmt::format("{}", fmt::join(common, "; ")));
    }
    if (!command.commands.empty()) text += "\nCommands:\n";
    for (const CommandWords& sub : command.commands)
        text += entry(sub.path.substr(path.empty() ? 0 : path.size() + 1), sub.meaning);
    return text + '\n' + footer_text(command.footer);
}

}  // namespace emberline::command
