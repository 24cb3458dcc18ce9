// SPDX-License-Identifier: MIT
#include "command/description.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "lightcurve/model.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/text.hpp"
#include "tasks/documents.hpp"

namespace emberline::command {
namespace {

std::vector<std::string> parts(const std::string& text, char separator) {
    const auto views = split(text, separator);
    return {views.begin(), views.end()};
}

std::string joined(const std::vector<std::string>& words, std::string_view between) {
    return fmt::format("{}", fmt::join(words, between));
}

// What a check says of itself: "INT in [1 - 400]" of a range, "{csv,ecsv}" of a choice.
void read_check(const std::string& check, OptionWords& option) {
    if (check.starts_with('{') && check.ends_with('}')) {
        option.choices = parts(check.substr(1, check.size() - 2), ',');
        return;
    }
    const std::size_t open = check.find(" in ["), between = check.find(" - ");
    if (open == std::string::npos || between == std::string::npos) {
        option.range = check;
        return;
    }
    const auto end = [](const std::string& text) {
        const auto number = parse_number(text);
        return number ? fmt::format("{:.6g}", *number) : text;
    };
    option.range = fmt::format("{} to {}", end(check.substr(open + 5, between - open - 5)),
                               end(check.substr(between + 3, check.size() - between - 4)));
}

std::vector<std::string> known_values(const std::string& value) {
    std::vector<std::string> known;
    if (value == "MODEL") known = lightcurve::model_names();
    if (value == "BAND") {
        for (const BandFacts& band : all_bands())
            known.push_back(band.name);
    }
    if (value == "FLAG") {
        for (const Caveat caveat : Caveats::from_bits(~std::uint64_t{0}).list())
            known.emplace_back(word(caveat));
    }
    return known;
}

std::vector<std::string> names_of(const std::set<CLI::Option*>& options, const CLI::App& app) {
    std::vector<std::string> names;
    for (const CLI::Option* in_order : app.get_options()) {
        for (const CLI::Option* option : options) {
            if (option == in_order) names.push_back(option->get_name());
        }
    }
    return names;
}

OptionWords describe(const CLI::Option& option, const CLI::App& app) {
    OptionWords words{.meaning = option.get_description(),
                      .preset = option.get_default_str(),
                      .needs = names_of(option.get_needs(), app),
                      .excludes = names_of(option.get_excludes(), app),
                      .required = option.get_required()};
    for (const std::string& name : option.get_snames())
        words.names.push_back("-" + name);
    for (const std::string& name : option.get_lnames())
        words.names.push_back("--" + name);
    if (option.get_items_expected_max() == 0) return words;
    const auto checks = parts(option.get_type_name(), ':');
    // "FROM:TO" is one word.
    const bool pair =
        checks.size() > 1 && checks[1].find_first_not_of("ABCDEFGHIJKLMNOPQRSTUVWXYZ") == std::string::npos;
    words.value = words.names.empty() ? option.get_name(true) : checks[0] + (pair ? ":" + checks[1] : "");
    for (std::size_t i = pair ? 2 : 1; i < checks.size(); ++i)
        read_check(checks[i], words);
    words.suggestions = known_values(words.value);
    words.repeats = option.get_items_expected_max() > 1;
    words.may_be_bare = option.get_items_expected_min() == 0;
    // A list's default is written in brackets.
    if (words.preset.starts_with('[') && words.preset.ends_with(']'))
        words.preset = words.preset.substr(1, words.preset.size() - 2);
    return words;
}

CommandWords describe(const CLI::App& app, const std::string& path) {
    CommandWords words{.path = path, .meaning = app.get_description(), .footer = app.get_footer()};
    for (const CLI::Option* option : app.get_options()) {
        if (option->get_group().empty() && option->nonpositional()) continue;
        (option->nonpositional() ? words.options : words.positionals).push_back(describe(*option, app));
    }
    for (const CLI::App* sub :
         app.get_subcommands([](const CLI::App* one) { return !one->get_group().empty(); }))
        words.commands.push_back(
            describe(*sub, path.empty() ? sub->get_name() : path + " " + sub->get_name()));
    return words;
}

tasks::Json document(const OptionWords& option) {
    return {{"names", option.names},     {"value", option.value},       {"meaning", option.meaning},
            {"choices", option.choices}, {"range", option.range},       {"default", option.preset},
            {"needs", option.needs},     {"excludes", option.excludes}, {"required", option.required},
            {"repeats", option.repeats}};
}

}  // namespace

std::string OptionWords::name() const {
    return names.empty() ? value : joined(names, ",");
}

std::string OptionWords::conditions() const {
    std::vector<std::string> all;
    if (!choices.empty()) all.push_back(joined(choices, ", "));
    if (!range.empty()) all.push_back(range);
    if (!preset.empty()) all.push_back("default: " + preset);
    if (repeats && !names.empty()) all.emplace_back("once for each");
    if (!needs.empty()) all.push_back("needs " + joined(needs, ", "));
    if (!excludes.empty()) all.push_back("not with " + joined(excludes, ", "));
    return joined(all, "; ");
}

std::string CommandWords::usage() const {
    std::string text = path.empty() ? "emberline [OPTIONS]" : "emberline " + path + " [OPTIONS]";
    for (const OptionWords& positional : positionals) {
        const std::string word = positional.value + (positional.repeats ? "..." : "");
        text += positional.required ? " " + word : " [" + word + "]";
    }
    return commands.empty() ? text : text + " COMMAND";
}

CommandWords describe(const CLI::App& app) {
    return describe(app, "");
}

std::vector<const CommandWords*> all_commands(const CommandWords& program) {
    std::vector<const CommandWords*> all = {&program};
    for (const CommandWords& command : program.commands) {
        for (const CommandWords* one : all_commands(command))
            all.push_back(one);
    }
    return all;
}

std::vector<OptionWords> common_options(const CommandWords& program) {
    std::vector<OptionWords> common;
    for (const OptionWords& option : program.options) {
        if (option.names.back() != "--help" && option.names.back() != "--version") common.push_back(option);
    }
    return common;
}

std::string description_json(const CommandWords& program) {
    tasks::Json all = tasks::Json::array();
    for (const CommandWords* command : all_commands(program)) {
        tasks::Json positionals = tasks::Json::array(), options = tasks::Json::array();
        for (const OptionWords& one : command->positionals)
            positionals.push_back(document(one));
        for (const OptionWords& one : command->options)
            options.push_back(document(one));
        all.push_back({{"command", command->path},
                       {"meaning", command->meaning},
                       {"usage", command->usage()},
                       {"footer", command->footer},
                       {"positionals", positionals},
                       {"options", options}});
    }
    return tasks::Json{{"commands", all}}.dump(2) + '\n';
}

}  // namespace emberline::command
