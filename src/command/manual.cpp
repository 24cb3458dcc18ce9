// SPDX-License-Identifier: MIT
// The part of emberline(1) that tells of the commands, as roff; the rest is data/package/emberline.1.in.

#include "command/description.hpp"
#include "quantities/text.hpp"

namespace emberline::command {
namespace {

// Text as roff takes it: no control at the head of a line, hyphens that can be copied.
std::string escaped(std::string_view text) {
    std::string out;
    if (text.starts_with('.') || text.starts_with('\'')) out += "\\&";
    for (const char c : text) {
        if (c == '\\')
            out += "\\e";
        else if (c == '-')
            out += "\\-";
        else
            out += c;
    }
    return out;
}

std::string entry(const OptionWords& option) {
    std::string text = ".TP\n";
    for (const std::string& name : option.names)
        text += (&name == &option.names.front() ? "\\fB" : ", \\fB") + escaped(name) + "\\fR";
    if (option.names.empty()) text += "\\fI" + escaped(option.value) + "\\fR";
    if (!option.names.empty() && !option.value.empty()) {
        const std::string value = "\\fI" + escaped(option.value) + "\\fR";
        text += option.may_be_bare ? " [" + value + "]" : " " + value;
    }
    const std::string conditions = option.conditions();
    text += '\n' + escaped(option.meaning);
    if (!conditions.empty()) text += " (" + escaped(conditions) + ")";
    return text + ".\n";
}

// Examples begin with spaces and stand as they are; sentences are a paragraph.
std::string footer_text(const std::string& footer) {
    std::string text;
    bool literal = false;
    for (const std::string_view line : split(footer, '\n')) {
        const bool example = line.starts_with(' ');
        if (example && !literal) text += ".PP\n.RS 4\n.nf\n";
        if (!example && literal) text += ".fi\n.RE\n";
        literal = example;
        if (line.empty())
            text += ".PP\n";
        else
            text += escaped(trimmed(line)) + '\n';
    }
    return text + (literal ? ".fi\n.RE\n" : "");
}

}  // namespace

std::string manual_of_commands(const CommandWords& program) {
    std::string text = ".SS Options of every command\n";
    for (const OptionWords& option : program.options)
        text += entry(option);
    for (const CommandWords* command : all_commands(program)) {
        if (command->path.empty()) continue;
        text += ".SS " + escaped(command->usage()) + '\n' + escaped(command->meaning) + ".\n";
        for (const OptionWords& positional : command->positionals)
            text += entry(positional);
        for (const OptionWords& option : command->options) {
            if (option.names.back() != "--help") text += entry(option);
        }
        text += ".PP\n" + footer_text(command->footer);
    }
    return text;
}

}  // namespace emberline::command
