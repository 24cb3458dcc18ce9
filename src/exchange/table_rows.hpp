// SPDX-License-Identifier: MIT
// exchange/table_rows — whether the values of a row belong together, whatever the format. Private to this
// room.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "exchange/finding.hpp"
#include "exchange/table_columns.hpp"

namespace emberline::exchange {

// Rows already seen, by 64 bits of each: among a million and a half a chance meeting has odds of one in ten
// million. Later ones are not compared any more: 32 MB are enough.
class SeenRows {
  public:
    // Where that row stood before; otherwise it is kept, with its line.
    [[nodiscard]] std::optional<std::size_t> line_of(std::uint64_t key, std::size_t line);
    [[nodiscard]] bool full() const;

  private:
    struct Entry {
        std::uint64_t key = 0;  // 0: free
        std::uint32_t line = 0;
    };
    void grow();
    [[nodiscard]] std::size_t place_of(std::uint64_t key) const;
    std::vector<Entry> entries_;
    std::size_t used_ = 0;
};

class RowChecker {
  public:
    // `lacking`: whether the file has no such column, by the contract's order; none given: it has all.
    RowChecker(TableLevel level, std::vector<bool> lacking, Findings& findings);
    // Cells in the order of columns_of(level).
    void check(std::size_t line, std::span<const Cell> row);

  private:
    struct Place {  // of a column; nowhere: not at this level, or not in this file
        std::string_view name;
        std::optional<std::size_t> index;
    };
    [[nodiscard]] Place place(std::string_view column) const;
    [[nodiscard]] std::optional<double> number(const Place& place) const;
    [[nodiscard]] const std::string& text(const Place& place) const;
    [[nodiscard]] bool truth(const Place& place) const;
    [[nodiscard]] bool is_there(const Place& place) const;
    void error(const Place& place, std::string what);

    void check_ranges();
    void check_dates();
    void check_words();
    void check_magnitude();
    void check_limit();
    void check_error_parts();
    void check_repeated();

    TableLevel level_;
    Findings& findings_;
    std::span<const TableColumn> columns_;
    std::vector<bool> lacking_;
    Place frame_, night_, band_, jd_utc_, bjd_tdb_, mag_, mag_err_, random_err_, common_err_, limit_mag_,
        is_limit_, method_, flags_;
    std::span<const Cell> row_;
    std::size_t line_ = 0;
    std::string last_night_, last_band_;  // the last band that was found good
    bool order_said_ = false, full_said_ = false;
    SeenRows seen_;
};

}  // namespace emberline::exchange
