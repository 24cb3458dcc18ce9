// SPDX-License-Identifier: MIT
// command/misuse — words that the program does not know, and which ones were most likely meant.
#pragma once

#include <CLI/CLI.hpp>
#include <span>

#include "quantities/problem.hpp"

namespace emberline::command {

// `words`: all of the command line.
[[nodiscard]] Problem misuse(const CLI::App& app, const CLI::ParseError& error, std::span<char*> words);

}  // namespace emberline::command
