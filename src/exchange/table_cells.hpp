// SPDX-License-Identifier: MIT
// exchange/table_cells — from the fields of a text to the cells of a row. Private to this room.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "exchange/finding.hpp"
#include "exchange/table_columns.hpp"

namespace emberline::exchange {

enum class TextDialect { csv, ecsv, votable };  // they write truth and missing numbers each in its own way

class CellReader {
  public:
    // From the names in the order of the file. Nothing where they are not those of any of the tables; the
    // findings say so, and what else is wrong with them.
    [[nodiscard]] static std::optional<CellReader> of_names(const std::vector<std::string>& names,
                                                            std::size_t line, TextDialect dialect,
                                                            Findings& findings);
    [[nodiscard]] TableLevel level() const { return level_; }
    [[nodiscard]] std::vector<bool> lacking()
        const;  // columns that the file has not, by the contract's order
    // In `cells`, by the contract's order; a column that the file lacks stays absent, or an empty text.
    // False: the number of fields is wrong or one cannot be read, and `findings` says which.
    [[nodiscard]] bool read(std::span<const std::string> fields, std::size_t line, std::vector<Cell>& cells,
                            Findings& findings) const;

  private:
    CellReader(TableLevel level, TextDialect dialect) : level_(level), dialect_(dialect) {}

    TableLevel level_;
    TextDialect dialect_;
    std::vector<std::optional<std::size_t>> places_;  // in the file, of each of the contract's columns
    std::size_t fields_ = 0;
};

// How many of the names are columns of one of the tables, the better of the two.
[[nodiscard]] std::size_t known_names(std::span<const std::string> names);

}  // namespace emberline::exchange
