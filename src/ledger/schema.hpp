// SPDX-License-Identifier: MIT
// ledger/schema — how a new ledger gets its tables and an older one is brought up to date. The tables
// themselves: ledger/table_definitions.
#pragma once

#include <span>

#include "ledger/connection.hpp"
#include "ledger/table_definitions.hpp"

namespace emberline::ledger {

// Written into the file's header, by which SQLite's users tell whose database it is: "Embr".
inline constexpr int application_id = 0x456d6272;

// All throw Failure.
// Not ours, or from a newer version: refused before anything is written.
void refuse_foreign(Connection& connection, int newest_version);
// Makes the tables in an empty file; brings an older ledger to `version` by `steps`, all in one transaction,
// after a copy beside it, named <path>.version-<old>.
void prepare_for_writing(Connection& connection, std::span<const Migration> steps, int version);
// Whether the file holds a ledger at all; false where it is still empty. Failure: an older version.
[[nodiscard]] bool ready_for_reading(Connection& connection, int version);

}  // namespace emberline::ledger
