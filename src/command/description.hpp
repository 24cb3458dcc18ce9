// SPDX-License-Identifier: MIT
// command/description — what the program's own option tree says of every command. The help, the man page and
// the shells' completions are all read off this, so that none of them can say something else than the program
// does.
#pragma once

#include <CLI/App.hpp>
#include <string>
#include <vector>

namespace emberline::command {

struct OptionWords {
    std::vector<std::string> names;  // "-o", "--output"; empty for what is told from its place
    std::string value;               // "FILE", "MAG", "NIGHT"; empty for a flag
    std::string meaning;
    std::vector<std::string> choices;      // the only values it takes; empty: any
    std::vector<std::string> suggestions;  // values known beforehand, where there is no fixed list of choices
    std::string range;                     // "1 to 400"
    std::string preset;                    // what holds where it is not given
    std::vector<std::string> needs, excludes;
    bool required = false;
    bool repeats = false;      // once for each value
    bool may_be_bare = false;  // its value may be left out

    // "-o,--output"; for what is told from its place, "FRAME".
    [[nodiscard]] std::string name() const;
    // "0.01 to 1000; default: 1.2; needs --scale": what else holds, empty where nothing does.
    [[nodiscard]] std::string conditions() const;
};

struct CommandWords {
    std::string path;  // "sequence build"; empty for the program itself
    std::string meaning, footer;
    std::vector<OptionWords> positionals, options;
    std::vector<CommandWords> commands;

    // "emberline sequence build [OPTIONS] [FILE]"
    [[nodiscard]] std::string usage() const;
};

// Whatever is hidden (in the group "") is left out.
[[nodiscard]] CommandWords describe(const CLI::App& app);
// The command and those below it, in the order of the help.
[[nodiscard]] std::vector<const CommandWords*> all_commands(const CommandWords& program);

// The program's options that every command takes too: all but its help and version.
[[nodiscard]] std::vector<OptionWords> common_options(const CommandWords& program);

// Every command's --help.
class HelpText : public CLI::FormatterBase {
  public:
    [[nodiscard]] std::string make_help(const CLI::App* app, std::string name,
                                        CLI::AppFormatMode mode) const override;
};

// The same words for a shell to complete by, for `man`, and for other programs.
[[nodiscard]] std::string bash_completion(const CommandWords& program);
[[nodiscard]] std::string zsh_completion(const CommandWords& program);
[[nodiscard]] std::string fish_completion(const CommandWords& program);
[[nodiscard]] std::string manual_of_commands(const CommandWords& program);  // roff: a part of emberline(1)
[[nodiscard]] std::string description_json(const CommandWords& program);

}  // namespace emberline::command
