// SPDX-License-Identifier: MIT
#include "command/sequence.hpp"

namespace emberline::command {

void add_sequence_build(CLI::App& sequence, Face&) {
    sequence.add_subcommand("build", "Make comparison.csv from a catalogue file");
}

}  // namespace emberline::command
