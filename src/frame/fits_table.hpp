// SPDX-License-Identifier: MIT
// frame/fits_table — a table in a FITS file, read whole: catalogues as services hand them out.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct FitsColumn {
    std::string name;     // TTYPE
    std::string unit;     // TUNIT, as written
    std::string meaning;  // TUCD or the comment, where there is one
    bool is_text = false;
    std::vector<double> numbers;     // NaN where undefined; empty where it is text
    std::vector<std::string> texts;  // trimmed; empty where it is numbers
};

struct FitsTable {
    Header header;
    std::vector<FitsColumn> columns;
    std::size_t rows = 0;
};

// The first binary or ASCII table of the file. Columns of arrays, and of kinds that are no number and no
// text, are left out. Problem: no FITS, no table, more rows than `most_rows`, cut short.
[[nodiscard]] Result<FitsTable> read_fits_table(const std::string& path, std::size_t most_rows = 5'000'000);

}  // namespace emberline::frame
