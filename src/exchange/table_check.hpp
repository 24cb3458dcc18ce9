// SPDX-License-Identifier: MIT
// exchange/table_check — reads the exported tables back, row by row, and names what is wrong with them.
// Any of CSV, ECSV and VOTable (TABLEDATA), told by the first bytes; FITS by exchange/fits_table. A file may
// be longer than memory: one row of it is held, and 16 bytes for each row that was seen, of a million and a
// half at most.
#pragma once

#include <cstddef>
#include <functional>
#include <iosfwd>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "exchange/finding.hpp"
#include "exchange/table_columns.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

struct CheckedTable {
    std::string format;               // "CSV", "ECSV", "VOTable", "FITS"
    std::optional<TableLevel> level;  // absent: the columns are not those of any of the tables
    std::size_t rows = 0;             // that could be read
    std::vector<Finding> findings;    // the first thousand; the rest are counted
    [[nodiscard]] bool valid() const { return !any_error(findings); }
};

// A row whose fields could all be read, in the order of columns_of(level); whether they belong together is
// for the findings to say. Return false to stop.
using TableVisitor = std::function<bool(TableLevel level, std::size_t line, std::span<const Cell> row)>;

// Findings have their line, and their column where it is one column's. Errors: a column that is missing or
// stands twice, a row with too few or too many fields, a field that is not of its column's kind or out of its
// range, dates that are none or that disagree (night, JD and BJD), unknown bands and flags, an error without
// a magnitude or of zero, a limit with an error, parts of an error that do not add up, a row that stands
// twice; another delimiter, broken quotes, bytes that are not text, a file that was cut, XML that is not well
// formed or declares a document type, times without their TIMESYS, units that are not the column's. Warnings:
// columns in another order or none of ours, line ends with CR, a byte-order mark, nights out of order.
[[nodiscard]] CheckedTable check_table(std::istream& in, const TableVisitor& visit = {});
// Problem: no such file, or one that cannot be read.
[[nodiscard]] Result<CheckedTable> check_table_file(const std::string& path, const TableVisitor& visit = {});

}  // namespace emberline::exchange
