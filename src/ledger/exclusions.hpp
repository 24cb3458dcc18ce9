// SPDX-License-Identifier: MIT
// ledger/exclusions — what the observer has set aside; one that has ended stays, with its end.
// All throw Failure.
#pragma once

#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

void begin_exclusion(Connection& connection, SetAside kind, std::string_view key, std::string_view reason);
[[nodiscard]] bool end_exclusion(Connection& connection, SetAside kind, std::string_view key);
[[nodiscard]] std::vector<Exclusion> current_exclusions(Connection& connection);

}  // namespace emberline::ledger
