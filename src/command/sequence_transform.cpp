// SPDX-License-Identifier: MIT
#include "command/sequence.hpp"

namespace emberline::command {

void add_sequence_transform(CLI::App& sequence, Face&) {
    sequence.add_subcommand("transform",
                            "Colour and extinction terms from a standard field or a night of many stars");
}

}  // namespace emberline::command
