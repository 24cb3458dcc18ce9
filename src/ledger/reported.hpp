// SPDX-License-Identifier: MIT
// ledger/reported — what went out, when and in which file, and what of that was taken back. Private to this
// room; all throw Failure.
// Nothing is ever deleted: a line is taken back by a further row, of a format of its own ("taken back
// network"), whose content is the number of the row taken back. Programs that do not know of such rows pass
// over them.
#pragma once

#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

void add_reported(Connection& connection, const std::vector<ReportedLine>& lines);
[[nodiscard]] std::vector<ReportedLine> newest_reported(Connection& connection, std::string_view format);
[[nodiscard]] std::vector<ReportedLine> lines_of_newest_report(Connection& connection,
                                                               std::string_view format);
void add_taken_back(Connection& connection, std::string_view format, std::string_view file,
                    std::string_view since);

}  // namespace emberline::ledger
