// SPDX-License-Identifier: MIT
// exchange/fits_table — the frame and night tables as a FITS binary table with time coordinates.
// Source: FITS standard 4.0, section 7.3 (tables) and section 9 (time).
// Both columns of times are Julian dates counted from JDREF = 0, with their own scale and place of the clock:
// jd_utc in UTC at the telescope (TOPOCENTER, and OBSGEO-X, -Y, -Z where the site is known), bjd_tdb in TDB
// at the solar system's barycentre, corrected for the direction of RA and DEC (TRDIR). A Julian date in one
// double keeps 40 microseconds, a thousandth of what any exposure's own clock is good for.
// FITS holds ASCII alone: in texts a byte beyond it, a per cent sign and a blank at either end stand as %XX,
// two hexadecimal digits, and the reader undoes it where TXTCODE says so. Nothing is cut or lost.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "exchange/finding.hpp"
#include "exchange/table_columns.hpp"
#include "frame/header.hpp"
#include "frame/table_writer.hpp"
#include "quantities/problem.hpp"
#include "sky/site.hpp"

namespace emberline::exchange {

// Row: night::NightMeasurement or night::FrameMeasurement. Streams: a million rows in a few megabytes.
template <class Row>
class FitsTableWriter {
  public:
    // Problem (storage): the disk. The file has its name only after finish(); without it nothing is left.
    [[nodiscard]] static Result<FitsTableWriter> create(const std::string& path, const TableMeta& meta,
                                                        const std::optional<sky::Site>& site);
    [[nodiscard]] Result<void> write(const Row& row);
    [[nodiscard]] Result<void> finish() { return table_->finish(); }

  private:
    explicit FitsTableWriter(std::unique_ptr<frame::TableWriter> table) : table_(std::move(table)) {}
    std::unique_ptr<frame::TableWriter> table_;
    std::vector<Cell> cells_;
};

struct FitsTableFile {
    TableLevel level = TableLevel::night;
    frame::Header header;
    std::size_t rows = 0;  // read
};
// Such a table row by row: cells in the order of columns_of(level), whatever their order in the file; false
// from `visit` is enough. Problem: no FITS table, cut short, a column that is missing or of another kind.
[[nodiscard]] Result<FitsTableFile> read_fits_rows(
    const std::string& path, const std::function<bool(TableLevel, std::span<const Cell>)>& visit);

// Names what is wrong or strange in such a file, whoever wrote it: columns, units, time coordinates,
// checksums and rows. A row's number stands for a finding's line.
[[nodiscard]] std::vector<Finding> check_fits_table(const std::string& path);

// Text as FITS can hold it, and back.
[[nodiscard]] std::string fits_text(std::string_view text);
[[nodiscard]] std::string text_of_fits(std::string_view text);

}  // namespace emberline::exchange
