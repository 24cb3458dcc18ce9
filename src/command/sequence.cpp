// SPDX-License-Identifier: MIT
#include "command/sequence.hpp"

namespace emberline::command {

void add_sequence(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand(
        "sequence", "Comparison stars: from a catalogue, held to account, and the instrument's colour terms");
    sub->footer(
        "Examples:\n  emberline sequence build gaia.csv\n  emberline sequence audit\n  emberline sequence "
        "transform");
    sub->require_subcommand(1);
    add_sequence_build(*sub, face);
    add_sequence_audit(*sub, face);
    add_sequence_residuals(*sub, face);
    add_sequence_transform(*sub, face);
}

}  // namespace emberline::command
