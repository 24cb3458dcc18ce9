// SPDX-License-Identifier: MIT
// exchange/tables — the frame and night tables of design section 2 as text, streamed row by row:
// - CSV (RFC 4180), one line of names above the rows;
// - ECSV 1.0 (astropy APE 6), with units, descriptions, UCDs, time scales and provenance;
// - VOTable 1.4 (IVOA, 2019-10-21), with TIMESYS, COOSYS and the photometric systems of PhotDM 1.1.
// Needs: exchange/table_columns.  Read back and checked by: exchange/table_check.
#pragma once

#include <iosfwd>
#include <memory>

#include "exchange/table_columns.hpp"
#include "night/measurement.hpp"

namespace emberline::exchange {

enum class TableFormat { csv, ecsv, votable };

class TableText;  // how a format writes cells: private to this room

// Column orders are a contract: see table_columns. Values that do not exist are empty fields; booleans are 0
// and 1 in CSV, False and True in ECSV, false and true in VOTable, as their definitions want them. Dates have
// 8 decimals of a day (1 ms), magnitudes 5, fluxes 3. Whether the disk took it all: ask the stream.
template <class Row>
class TableWriter {
  public:
    // Writes what stands above the rows.
    TableWriter(std::ostream& out, TableFormat format, const TableMeta& meta);
    TableWriter(TableWriter&&) noexcept;
    TableWriter& operator=(TableWriter&&) noexcept;
    ~TableWriter();
    void write(const Row& row);
    // Writes what stands below them; the last call.
    void finish();

  private:
    std::unique_ptr<TableText> text_;
    std::vector<Cell> cells_;
};
using FrameTableWriter = TableWriter<night::FrameMeasurement>;
using NightTableWriter = TableWriter<night::NightMeasurement>;

}  // namespace emberline::exchange
