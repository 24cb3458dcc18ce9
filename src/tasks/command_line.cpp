// SPDX-License-Identifier: MIT
#include "tasks/command_line.hpp"

#include <algorithm>

namespace emberline::tasks {
namespace {

bool is_plain(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
           std::string_view("_-./:+,@%=").find(c) != std::string_view::npos;
}

}  // namespace

std::string shell_word(std::string_view text) {
    if (!text.empty() && std::all_of(text.begin(), text.end(), is_plain)) return std::string(text);
    std::string word = "'";
    for (const char c : text) {
        if (c == '\'') {
            word += "'\\''";  // nothing is special between single quotes, and so they must be left for one
        } else {
            word += c;
        }
    }
    return word + "'";
}

CommandLine& CommandLine::option(std::string_view name, std::string_view value) {
    if (value.empty()) return *this;
    text_ += ' ';
    text_ += name;
    // A value that begins like an option must not be taken for one.
    text_ += value.starts_with('-') ? '=' : ' ';
    text_ += shell_word(value);
    return *this;
}

CommandLine& CommandLine::option(std::string_view name, const std::vector<std::string>& values) {
    for (const std::string& value : values)
        option(name, value);
    return *this;
}

CommandLine& CommandLine::flag(std::string_view name, bool on) {
    if (on) text_ += ' ' + std::string(name);
    return *this;
}

}  // namespace emberline::tasks
