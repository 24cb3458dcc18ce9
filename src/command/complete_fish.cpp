// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include "command/complete.hpp"

namespace emberline::command {
namespace {

constexpr const char* head = R"script(# Completion of emberline in fish, made by `emberline describe fish`.

# Whether the command so far is the one named.
function __emberline_at
    set -l path
    set -l skip 0
    for word in (commandline -opc)[2..-1]
        if test $skip = 1
            set skip 0
        else if contains -- $word -c --campaign -j --threads
            set skip 1
        else if not string match -q -- '-*' $word
            if test (count $path) = 0; or contains -- "$path" $__emberline_groups
                set -a path $word
            end
        end
    end
    test "$path" = "$argv[1]"
end

complete -c emberline -f
)script";

std::string quoted(const std::string& text) {
    std::string out = "'";
    for (const char c : text) {
        if (c == '\'' || c == '\\') out += '\\';
        out += c;
    }
    return out + "'";
}

std::string value_text(const OptionWords& option) {
    switch (offer_of(option)) {
        case Offer::nothing:
        case Offer::star:
            return " -x";
        case Offer::words:
        case Offer::band:
            return " -x -a " + quoted(offered_words(option));
        case Offer::folder:
            return " -x -a '(__fish_complete_directories)'";
        case Offer::file:
        case Offer::frame:
        case Offer::what:
            return " -r -F";
    }
    return "";
}

std::string line(const CommandWords& command, const OptionWords& option) {
    std::string out =
        fmt::format("complete -c emberline -n {}", quoted("__emberline_at " + quoted(command.path)));
    for (const std::string& name : option.names)
        out += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
    if (!option.value.empty()) out += value_text(option);
    return out + " -d " + quoted(option.meaning) + '\n';
}

}  // namespace

std::string fish_completion(const CommandWords& program) {
    std::string text = head, groups;
    for (const CommandWords* command : all_commands(program)) {
        const std::string at = quoted("__emberline_at " + quoted(command->path));
        if (!command->commands.empty() && !command->path.empty()) groups += " " + command->path;
        for (const CommandWords& sub : command->commands)
            text += fmt::format("complete -c emberline -n {} -a {} -d {}\n", at, last_word(sub.path),
                                quoted(sub.meaning));
        for (const OptionWords& option : options_of(*command, program))
            text += line(*command, option);
        for (const OptionWords& positional : command->positionals) {
            const Offer offer = offer_of(positional);
            if (offer == Offer::folder || offer == Offer::words)
                text += fmt::format("complete -c emberline -n {}{}\n", at, value_text(positional));
            else if (offer != Offer::nothing && offer != Offer::star)
                text += fmt::format("complete -c emberline -n {} -F\n", at);
        }
    }
    return text + "set -g __emberline_groups" + groups + '\n';
}

}  // namespace emberline::command
