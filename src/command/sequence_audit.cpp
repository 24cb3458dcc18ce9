// SPDX-License-Identifier: MIT
#include "command/sequence.hpp"

namespace emberline::command {

void add_sequence_audit(CLI::App& sequence, Face&) {
    sequence.add_subcommand("audit", "Which comparison stars misbehave, in order of harm");
}

}  // namespace emberline::command
