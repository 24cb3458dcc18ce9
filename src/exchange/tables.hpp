// SPDX-License-Identifier: MIT
// exchange/tables — the frame and night tables of design section 2 as CSV and ECSV, streamed row by row.
#pragma once

#include <iosfwd>
#include <map>
#include <string>
#include <vector>

#include "night/measurement.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

enum class TableFormat { csv, ecsv };

struct TableMeta {  // goes into ECSV's meta, in this order
    std::vector<std::pair<std::string, std::string>> entries;
};

// Column orders are a contract: see the .cpp. Values that do not exist are empty fields.
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
