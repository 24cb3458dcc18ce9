// SPDX-License-Identifier: MIT
// exchange/tables — the frame and night tables of design section 2 as CSV (RFC 4180) and ECSV 1.0 (astropy
// APE 6), streamed row by row. The constructor writes what stands above the rows.
#pragma once

#include <iosfwd>
#include <string>
#include <utility>
#include <vector>

#include "night/measurement.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

enum class TableFormat { csv, ecsv };

struct TableMeta {  // goes into ECSV's meta, in this order
    std::vector<std::pair<std::string, std::string>> entries;
};

// Column orders are a contract: see the .cpp. Values that do not exist are empty fields; booleans are 0 and 1
// in CSV, False and True in ECSV, as its definition wants them. Dates have 8 decimals of a day (1 ms),
// magnitudes 5, fluxes 3. Whether the disk took it all: ask the stream.
class FrameTableWriter {
  public:
    FrameTableWriter(std::ostream& out, TableFormat format, const TableMeta& meta);
    void write(const night::FrameMeasurement& row);

  private:
    std::ostream& out_;
    TableFormat format_;
};
class NightTableWriter {
  public:
    NightTableWriter(std::ostream& out, TableFormat format, const TableMeta& meta);
    void write(const night::NightMeasurement& row);

  private:
    std::ostream& out_;
    TableFormat format_;
};

}  // namespace emberline::exchange
