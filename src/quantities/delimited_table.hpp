// SPDX-License-Identifier: MIT
// quantities/delimited_table — a small table as text (RFC 4180 with comments), read with line numbers.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline {
inline namespace quantities {

struct TableRow {
    std::size_t line = 0;             // from 1, of the row's first character
    std::vector<std::string> fields;  // trimmed, unquoted; as many as the table has columns
};

struct DelimitedTable {
    std::string source;  // file name, for messages
    std::vector<std::string> columns;
    std::vector<TableRow> rows;

    [[nodiscard]] std::optional<std::size_t> column(std::string_view name) const;  // exact name
    // "comparison.csv, line 7, column 'V'"
    [[nodiscard]] std::string place(const TableRow& row, std::string_view column_name) const;
};

// First line that is neither empty nor a comment (#): the column names. A byte-order mark, CRLF and blank
// lines are fine. Problem (line named): no columns, a row with too few or too many fields, an open quote,
// a column name twice, bytes that are not text.
[[nodiscard]] Result<DelimitedTable> parse_table(std::string_view text, std::string source,
                                                 char separator = ',');
// Problem: cannot be read, is larger than 256 MiB, or as parse_table.
[[nodiscard]] Result<DelimitedTable> read_table(const std::string& path, char separator = ',');

// One field, quoted where it must be.
[[nodiscard]] std::string quoted_field(std::string_view field, char separator = ',');

// The whole of a file. Problem: missing, a folder, unreadable, larger than `most_bytes`.
[[nodiscard]] Result<std::string> read_text_file(const std::string& path,
                                                 std::size_t most_bytes = std::size_t{256} << 20U);
// Written beside the target, flushed to disk and renamed: the old file or the new one, never half of one.
[[nodiscard]] Result<void> write_text_file(const std::string& path, std::string_view text);

}  // namespace quantities
}  // namespace emberline
