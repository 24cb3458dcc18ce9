// SPDX-License-Identifier: MIT
// ledger/table_definitions — the tables of a ledger in SQL, and what each version added to them. Private to
// this room.
#pragma once

#include <span>
#include <string>
#include <vector>

namespace emberline::ledger {

// What makes the tables and indexes of this version in an empty file, in this order.
[[nodiscard]] std::vector<std::string> statements_of_new_ledger();

// From the version before `to` to `to`.
struct Migration {
    int to;
    std::string sql;
};
[[nodiscard]] std::span<const Migration> migrations();

}  // namespace emberline::ledger
