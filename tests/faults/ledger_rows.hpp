// SPDX-License-Identifier: MIT
// tests/faults/ledger_rows — what a ledger holds, row by row, so that two moments of it can be compared.
#pragma once

#include <map>
#include <set>
#include <string>
#include <vector>

namespace emberline::faults {

struct Row {
    std::string key;                           // table and primary key
    std::map<std::string, std::string> cells;  // column -> value as SQL writes it, numbers to the last digit
};
using Rows = std::map<std::string, Row>;

// Everything, of one state of the ledger; none where no ledger was committed yet. Throws where it cannot be
// read.
[[nodiscard]] Rows rows_of(const std::string& ledger);

// Rows that are gone, or say something else than before. What a row may be told later is no loss: that
// another superseded it, that a solution was its last, that an exclusion ended; and its place in the order.
[[nodiscard]] std::vector<std::string> lost(const Rows& before, const Rows& after);

// What counts now, whenever and in whatever order it came about: a line a row, without numbers of rows and
// times.
[[nodiscard]] std::multiset<std::string> present(const std::string& ledger);

// Empty: PRAGMA integrity_check and foreign_key_check find nothing.
[[nodiscard]] std::string unsound(const std::string& ledger);

}  // namespace emberline::faults
