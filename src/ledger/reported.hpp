// SPDX-License-Identifier: MIT
// ledger/reported — what went out, when and in which file. Private to this room; all throw Failure.
#pragma once

#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

void add_reported(Connection& connection, const std::vector<ReportedLine>& lines);
[[nodiscard]] std::vector<ReportedLine> newest_reported(Connection& connection, std::string_view format);

}  // namespace emberline::ledger
