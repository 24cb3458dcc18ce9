// SPDX-License-Identifier: MIT
// exchange/table_text — how the formats of text write rows of cells. Private to this room.
#pragma once

#include <iosfwd>
#include <memory>
#include <span>
#include <string>

#include "exchange/table_columns.hpp"

namespace emberline::exchange {

class TableText {
  public:
    virtual ~TableText() = default;
    virtual void write(std::span<const Cell> row) = 0;
    virtual void finish() {}
};

// Each writes what stands above the rows at once. The stream must outlive it.
[[nodiscard]] std::unique_ptr<TableText> csv_text(std::ostream& out, TableLevel level);
[[nodiscard]] std::unique_ptr<TableText> ecsv_text(std::ostream& out, TableLevel level,
                                                   const TableMeta& meta);
[[nodiscard]] std::unique_ptr<TableText> votable_text(std::ostream& out, TableLevel level,
                                                      const TableMeta& meta);

// Appends a number with the column's decimals or a whole number; nothing for any other cell.
void append_number(std::string& line, const Cell& cell, const TableColumn& column);

}  // namespace emberline::exchange
