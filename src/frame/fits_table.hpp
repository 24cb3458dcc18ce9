// SPDX-License-Identifier: MIT
// frame/fits_table — a table in a FITS file: read whole, as catalogues are that services hand out, or in
// blocks of rows.
// Source: FITS standard 4.0, sections 4.4.2.7 and 7.
#pragma once

#include <cstddef>
#include <functional>
#include <string>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

struct FitsColumn {
    int number = 0;       // of the column in its table, from 1
    std::string name;     // TTYPE
    std::string unit;     // TUNIT, as written
    std::string meaning;  // TUCD or the comment, where there is one
    bool is_text = false;
    bool is_truth = false;        // 'L': its numbers are 0 and 1
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

// The same table, block by block: a million rows in the memory of one. Truth values are read too. `visit`
// gets the rows from `first_row` (counted from 0) on, and of a table without rows one empty block; false:
// enough. Returns how many rows were seen. Problem: as above, but for the number of rows.
[[nodiscard]] Result<std::size_t> for_each_fits_block(
    const std::string& path, const std::function<bool(const FitsTable& block, std::size_t first_row)>& visit,
    std::size_t block_rows = 4096);

enum class Checksum { absent, right, wrong };
// CHECKSUM and DATASUM of that table together. Problem: as above.
[[nodiscard]] Result<Checksum> checksum_of_table(const std::string& path);

}  // namespace emberline::frame
