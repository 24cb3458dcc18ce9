// SPDX-License-Identifier: MIT
// tests/program/program — the program run as a process of its own, and what a test asks of it.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "program/process.hpp"

namespace emberline::testing {

void write_contents(const std::string& path, const std::string& bytes);
// In `path`, the one place where `from` stands.
void replace_once(const std::string& path, const std::string& from, const std::string& to);

}  // namespace emberline::testing
