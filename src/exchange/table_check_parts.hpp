// SPDX-License-Identifier: MIT
// exchange/table_check_parts — the validators of the formats of text. Private to this room.
#pragma once

#include <iosfwd>
#include <optional>
#include <string>

#include "exchange/table_check.hpp"
#include "exchange/table_rows.hpp"

namespace emberline::exchange {

// What every format does with a row that could be read: judge it and hand it on.
class RowSink {
  public:
    explicit RowSink(const TableVisitor& visit) : visit_(visit) {}
    RowSink(const RowSink&) = delete;  // the checker holds on to the findings
    RowSink& operator=(const RowSink&) = delete;
    ~RowSink() = default;

    // Before the first row.
    void begin(TableLevel level, std::vector<bool> lacking);
    // False: the visitor has enough.
    [[nodiscard]] bool take(std::size_t line, std::span<const Cell> row);
    [[nodiscard]] Findings& findings() { return findings_; }
    [[nodiscard]] CheckedTable result(std::string format) &&;

  private:
    const TableVisitor& visit_;
    Findings findings_;
    std::optional<TableLevel> level_;
    std::optional<RowChecker> checker_;
    std::size_t rows_ = 0;
};

[[nodiscard]] CheckedTable check_csv(std::istream& in, const TableVisitor& visit);
[[nodiscard]] CheckedTable check_ecsv(std::istream& in, const TableVisitor& visit);
[[nodiscard]] CheckedTable check_votable(std::istream& in, const TableVisitor& visit);

}  // namespace emberline::exchange
