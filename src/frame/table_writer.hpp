// SPDX-License-Identifier: MIT
// frame/table_writer — a binary table in a FITS file, written row by row: never whole in memory, and under
// its name only when it is whole.
// Source: FITS standard 4.0, sections 4.4.2.7 (checksums) and 7.3. TUCDn and TCOMMn are widely read, though
// no standard.
#pragma once

#include <cstddef>
#include <memory>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

enum class CellKind { number, whole, text, truth };  // TFORM: 1D, 1K, wA, 1L

struct ColumnForm {
    std::string name;  // TTYPE
    CellKind kind = CellKind::number;
    std::string unit;         // TUNIT; empty: none
    std::string description;  // TCOMM, and the comment of TTYPE as far as it fits
    std::string ucd;          // TUCD; empty: none
    std::string display;      // TDISP, "F17.8"; empty: none
    std::size_t width = 1;    // of a text, to begin with
    std::vector<Card> cards;  // keywords without the column's number: TCTYP becomes TCTYP4
};

struct TableForm {
    std::string name;  // EXTNAME
    std::vector<ColumnForm> columns;
    std::vector<Card> cards;  // of the table, after what describes its columns
};

// Nothing: undefined. That is NaN for a number, TNULL (the least of 64 bits) for a whole number, an empty
// text, and a zero byte for a truth.
using Cell = std::variant<std::monostate, std::string, double, long long, bool>;

// Texts have one width a column, as the standard wants for what any program should read. It follows the
// longest text: a longer one than those before makes room in the rows already written, half as much again
// at least, so that this happens a few times however long the table. No text is ever cut.
class TableWriter {
  public:
    // Problem: no column, a name twice, a card that no header can hold, the disk (kind storage).
    [[nodiscard]] static Result<std::unique_ptr<TableWriter>> create(const std::string& path, TableForm form);
    virtual ~TableWriter() = default;  // what was not finished is gone

    // One cell a column. Problem: another number of cells, a cell of another kind than its column's, a text
    // with bytes other than printable ASCII (FITS 4.0, section 7.3.3.1), TNULL as a value, the disk.
    [[nodiscard]] virtual Result<void> append(std::span<const Cell> row) = 0;
    // Under its own name, in place of a file that may be there. Nothing can be written afterwards.
    [[nodiscard]] virtual Result<void> finish() = 0;
    [[nodiscard]] virtual std::size_t rows() const = 0;  // so far
};

}  // namespace emberline::frame
