// SPDX-License-Identifier: MIT
// Tables of expected values under tests/data/, by name and column.
#pragma once

#include <catch2/catch.hpp>
#include <string>

#include "quantities/delimited_table.hpp"

namespace emberline::test {

inline DelimitedTable expected_table(const std::string& name) {
    auto table = read_table(std::string(EMBERLINE_TEST_DATA) + "/" + name);
    INFO(name);
    REQUIRE(table);
    REQUIRE_FALSE(table->rows.empty());
    return *table;
}

inline std::string text(const DelimitedTable& table, const TableRow& row, const std::string& column) {
    const auto index = table.column(column);
    INFO(column);
    REQUIRE(index);
    return row.fields[*index];
}

inline double number(const DelimitedTable& table, const TableRow& row, const std::string& column) {
    return std::stod(text(table, row, column));
}

}  // namespace emberline::test
