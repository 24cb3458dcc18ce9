// SPDX-License-Identifier: MIT
#include "command/face.hpp"

namespace emberline::command {

void add_masters_gain(CLI::App&, Face&) {}

}  // namespace emberline::command
