// SPDX-License-Identifier: MIT
// frame/fits_table — a table in a FITS file, read whole: catalogues as services hand them out.
// Source: FITS standard 4.0, section 7.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct FitsColumn {
    std::string name;     // TTYPE
    std::string unit;     // TUNIT, as written
    std::string meaning;  // TUCD or the comment, where there is one
    bool is_text = false;
    std::vector<double> numbers;  // NaN where undefined; empty where it is text
    // Trimmed. Empty where it is numbers, but for whole numbers of 64 bits, whose last digits a double loses:
    // there they stand here as well, an undefined one as an empty text.
    std::vector<std::string> texts;
};

struct FitsTable {
    Header header;
    std::vector<FitsColumn> columns;
    std::size_t rows = 0;
};

// The first binary or ASCII table of the file, which may be gzipped. Columns of arrays, and of kinds that are
// no number and no text, are left out. Problem: no FITS, no table, more rows than `most_rows` or columns that
// would not fit into 2 GiB, cut short.
[[nodiscard]] Result<FitsTable> read_fits_table(const std::string& path, std::size_t most_rows = 5'000'000);

}  // namespace emberline::frame
