// SPDX-License-Identifier: MIT
#include "command/complete.hpp"

#include <fmt/format.h>

namespace emberline::command {

Offer offer_of(const OptionWords& option) {
    if (option.value == "FILE") return Offer::file;
    if (option.value == "DIR") return Offer::folder;
    if (option.value == "FRAME") return Offer::frame;
    if (option.value == "BAND") return Offer::band;
    if (!option.choices.empty() || !option.suggestions.empty()) return Offer::words;
    if (option.value == "STAR") return Offer::star;
    if (option.value == "WHAT") return Offer::what;
    return Offer::nothing;
}

std::string offered_words(const OptionWords& option) {
    return fmt::format("{}", fmt::join(option.choices.empty() ? option.suggestions : option.choices, " "));
}

std::vector<OptionWords> options_of(const CommandWords& command, const CommandWords& program) {
    std::vector<OptionWords> options = command.options;
    if (command.path.empty()) return options;
    for (OptionWords& common : common_options(program))
        options.push_back(std::move(common));
    return options;
}

std::string last_word(const std::string& path) {
    return path.substr(path.rfind(' ') + 1);
}

std::string names_of(const std::vector<CommandWords>& commands) {
    std::vector<std::string> names;
    for (const CommandWords& command : commands)
        names.push_back(last_word(command.path));
    return fmt::format("{}", fmt::join(names, " "));
}

std::string names_of(const std::vector<OptionWords>& options) {
    std::vector<std::string> names;
    for (const OptionWords& option : options)
        names.insert(names.end(), option.names.begin(), option.names.end());
    return fmt::format("{}", fmt::join(names, " "));
}

}  // namespace emberline::command
