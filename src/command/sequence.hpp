// SPDX-License-Identifier: MIT
// command/sequence — `sequence build|audit|residuals|transform`, a file each.
#pragma once

#include "command/face.hpp"

namespace emberline::command {

void add_sequence_build(CLI::App& sequence, Face& face);
void add_sequence_audit(CLI::App& sequence, Face& face);
void add_sequence_residuals(CLI::App& sequence, Face& face);
void add_sequence_transform(CLI::App& sequence, Face& face);

}  // namespace emberline::command
