// SPDX-License-Identifier: MIT
#include "quantities/delimited_table.hpp"

#include <catch2/catch.hpp>

using namespace emberline;

TEST_CASE("quoted fields, comments, CRLF and a byte-order mark are read", "[table]") {
    const auto table =
        parse_table("\xEF\xBB\xBF# made by hand\r\na,b\r\n\r\n\"x, \"\"y\"\"\", 2 \r\n", "t.csv");
    REQUIRE(table);
    REQUIRE(table->rows.size() == 1);
    CHECK(table->rows[0].fields == std::vector<std::string>{"x, \"y\"", "2"});
    CHECK(table->rows[0].line == 4);
}

TEST_CASE("a damaged table is refused by its line", "[table]") {
    const struct {
        const char* text;
        const char* where;
    } cases[] = {
        {"a,b\n1\n", "t.csv, line 2, column 2"},     {"a,b\n1,2,3\n", "t.csv, line 2, column 3"},
        {"a,a\n", "t.csv, line 1, columns 1 and 2"}, {"a,b\n1,\"2\n", "t.csv, line 2"},
        {"a,b\n1,\x01\n", "t.csv, line 2"},          {"", "t.csv"},
        {"a,b\n1,\"x\n\x01\"\n", "t.csv, line 2"},
    };
    for (const auto& c : cases) {
        const auto table = parse_table(c.text, "t.csv");
        INFO(c.text);
        REQUIRE_FALSE(table);
        CHECK(table.error().where == c.where);
    }
}
