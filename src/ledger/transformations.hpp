// SPDX-License-Identifier: MIT
// ledger/transformations — colour and extinction terms of the instruments. Private to this room; all throw
// Failure.
#pragma once

#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

void add_transformations(Connection& connection, const std::vector<KeptTransformation>& terms);
[[nodiscard]] std::vector<KeptTransformation> newest_transformations(Connection& connection);
[[nodiscard]] std::vector<KeptTransformation> all_transformations(Connection& connection);

}  // namespace emberline::ledger
