// SPDX-License-Identifier: MIT
// ledger/plates — plate solutions made here, and the stars that frames are matched with. Private to this
// room; all throw Failure.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

void add_plates(Connection& connection, const std::vector<KeptPlate>& plates);
[[nodiscard]] std::optional<KeptPlate> newest_plate(Connection& connection, std::string_view fingerprint);
void add_reference(Connection& connection, const night::FieldReference& reference);
[[nodiscard]] std::optional<night::FieldReference> newest_reference(Connection& connection);

}  // namespace emberline::ledger
