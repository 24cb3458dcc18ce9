// SPDX-License-Identifier: MIT
#include "command/misuse.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <string>
#include <vector>

#include "quantities/nearest_word.hpp"
#include "quantities/text.hpp"

namespace emberline::command {
namespace {

// What people type who look for it under another word.
const std::map<std::string, std::string, std::less<>>& other_words() {
    static const std::map<std::string, std::string, std::less<>> words = {
        {"init", "new"},           {"create", "new"},        {"start", "new"},
        {"demo", "rehearse"},      {"simulate", "rehearse"}, {"check", "inspect"},
        {"doctor", "inspect"},     {"info", "inspect"},      {"header", "inspect"},
        {"photometry", "measure"}, {"reduce", "measure"},    {"run", "measure"},
        {"plot", "curve"},         {"light-curve", "curve"}, {"lightcurve", "curve"},
        {"fit", "curve"},          {"platesolve", "solve"},  {"plate-solve", "solve"},
        {"submit", "report"},      {"calibrate", "masters"}, {"list", "nights"},
        {"show", "nights"},        {"table", "export"},      {"remove", "exclude"},
        {"delete", "exclude"},     {"reject", "exclude"},    {"web", "page"},
        {"serve", "page"},         {"gui", "page"},          {"predict", "forecast"},
        {"live", "watch"}};
    return words;
}

// Of an app: the commands of the program, or of one of them.
std::vector<std::string> commands_of(const CLI::App& app) {
    std::vector<std::string> names;
    for (const CLI::App* sub : app.get_subcommands([](const CLI::App*) { return true; })) {
        if (!sub->get_group().empty()) names.push_back(sub->get_name());
    }
    return names;
}

std::vector<std::string> options_of(const std::vector<const CLI::App*>& chain) {
    std::vector<std::string> names;
    for (const CLI::App* app : chain) {
        for (const CLI::Option* option : app->get_options()) {
            for (const std::string& name : option->get_lnames())
                names.push_back("--" + name);
        }
    }
    return names;
}

// The program, the command chosen, its sub-command.
std::vector<const CLI::App*> chain_of(const CLI::App& app) {
    std::vector<const CLI::App*> chain{&app};
    for (auto chosen = app.get_subcommands(); !chosen.empty(); chosen = chosen.front()->get_subcommands())
        chain.push_back(chosen.front());
    return chain;
}

std::string joined(const std::vector<std::string>& words) {
    std::string text;
    for (const std::string& word : words)
        text += (text.empty() ? "" : ", ") + word;
    return text;
}

// "-again" is one option of two dashes, however many letters of one dash it is read as.
std::string whole_option(std::string_view word) {
    word = word.substr(0, word.find('='));
    if (word.starts_with("--")) return std::string(word);
    return word.size() > 2 && word.front() == '-' && !parse_number(word) ? "-" + std::string(word)
                                                                         : std::string();
}

std::string unknown_option(const std::vector<const CLI::App*>& chain, std::span<char*> words) {
    const auto known = options_of(chain);
    for (const char* word : words) {
        if (std::string_view(word) == "--") break;
        const std::string option = whole_option(word);
        if (option.empty() || std::string_view(word).starts_with("-c") ||
            std::string_view(word).starts_with("-j"))
            continue;
        if (option == word && std::find(known.begin(), known.end(), option) != known.end()) continue;
        return word;
    }
    return {};
}

// The word behind the last command: it should have been one of its own.
std::string word_behind(const std::string& command, std::span<char*> words) {
    const auto at = std::find_if(words.begin(), words.end(),
                                 [&](const char* word) { return std::string_view(word) == command; });
    if (at == words.end() || at + 1 == words.end() || **(at + 1) == '-') return {};
    return *(at + 1);
}

Problem request(std::string what, std::string where, std::string mend) {
    return {.what = std::move(what),
            .where = std::move(where),
            .mend = std::move(mend),
            .kind = ProblemKind::request};
}

std::string meant(const std::string& guess) {
    return guess.empty() ? std::string() : fmt::format("Did you mean {}? ", guess);
}

std::string likely_command(const CLI::App& app, std::string_view word) {
    const auto other = other_words().find(lower_case(word));
    return other != other_words().end() ? other->second : nearest_word(word, commands_of(app));
}

}  // namespace

Problem misuse(const CLI::App& app, const CLI::ParseError& error, std::span<char*> words) {
    const auto chain = chain_of(app);
    std::string command;  // with its sub-command: "sequence build"
    for (std::size_t i = 1; i < chain.size(); ++i)
        command += (i > 1 ? " " : "") + chain[i]->get_name();
    const std::string help =
        fmt::format("`emberline {}--help` shows how it is used.", command.empty() ? "" : command + " ");
    const auto left = app.remaining();
    if (command.empty() && !left.empty() && !left.front().starts_with('-')) {
        return request(fmt::format("There is no command '{}'.", left.front()), {},
                       meant(likely_command(app, left.front())) + help);
    }
    if (const std::string option = unknown_option(chain, words); !option.empty()) {
        return request(fmt::format("There is no option {} here.", option), command,
                       meant(nearest_word(whole_option(option), options_of(chain))) + help);
    }
    if (command.empty()) return request("No command was given.", {}, help);
    const auto own = commands_of(*chain.back());
    if (!own.empty() && dynamic_cast<const CLI::RequiredError*>(&error) != nullptr) {
        const std::string word = word_behind(chain.back()->get_name(), words);
        return request(word.empty()
                           ? fmt::format("What of it? It has {}.", joined(own))
                           : fmt::format("There is no `{} {}`: it has {}.", command, word, joined(own)),
                       command, meant(nearest_word(word, own)) + help);
    }
    std::string text = error.what();
    std::replace(text.begin(), text.end(), '\n', ' ');
    if (!text.ends_with('.')) text += '.';
    return request(std::move(text), command, help);
}

}  // namespace emberline::command
