// SPDX-License-Identifier: MIT
// command/findings — what a validator says of a file, for people and as JSON.
#pragma once

#include <iosfwd>
#include <string>
#include <vector>

#include "exchange/finding.hpp"
#include "tasks/documents.hpp"

namespace emberline::command {

// "line 7, mag: ", "line 7: ", "mag: "; of the file as a whole: "".
[[nodiscard]] std::string place(const exchange::Finding& finding);
[[nodiscard]] tasks::Json findings_document(const std::vector<exchange::Finding>& findings);
// One line each, warnings marked as such.
void print_findings(std::ostream& out, const std::vector<exchange::Finding>& findings);

}  // namespace emberline::command
