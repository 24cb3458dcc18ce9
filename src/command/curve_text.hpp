// SPDX-License-Identifier: MIT
// command/curve_text — what `curve` says to a person.
#pragma once

#include <string>

#include "tasks/curve.hpp"

namespace emberline::command {

[[nodiscard]] std::string curve_text(const tasks::CurveOutcome& outcome);

}  // namespace emberline::command
