// SPDX-License-Identifier: MIT
#include "quantities/line_reader.hpp"

#include <catch2/catch.hpp>
#include <sstream>
#include <vector>

using namespace emberline;

namespace {

std::vector<std::string> lines_of(const std::string& text) {
    std::istringstream in(text);
    LineReader reader(in);
    std::vector<std::string> lines;
    while (const auto line = reader.next())
        lines.emplace_back(*line);
    CHECK(reader.number() == lines.size());
    return lines;
}

using Lines = std::vector<std::string>;

}  // namespace

TEST_CASE("lines end with LF, CR LF or CR, and the last may have no end", "[quantities][lines]") {
    CHECK(lines_of("").empty());
    CHECK(lines_of("a") == Lines{"a"});
    CHECK(lines_of("a\n") == Lines{"a"});
    CHECK(lines_of("\n") == Lines{""});
    CHECK(lines_of("a\nb\r\nc\rd") == Lines{"a", "b", "c", "d"});
    CHECK(lines_of("a\r\r\nb\n\n") == Lines{"a", "", "b", ""});
    CHECK(lines_of("\xEF\xBB\xBF"
                   "a\nb") == Lines{"a", "b"});
}

TEST_CASE("lines are whole wherever the pieces that are read end", "[quantities][lines]") {
    // The piece is 65536 bytes: line ends, CR LF among them, around that place.
    for (std::size_t length = 65530; length < 65541; ++length) {
        const std::string first(length, 'x');
        CHECK(lines_of(first + "\r\nsecond\r\n") == Lines{first, "second"});
        CHECK(lines_of(first + "\rsecond") == Lines{first, "second"});
    }
    const std::string both(200000, 'y');
    CHECK(lines_of(both + "\n" + both) == Lines{both, both});
}

TEST_CASE("a line that is too long is cut and said to be", "[quantities][lines]") {
    std::istringstream in(std::string(100, 'x') + "\nshort\r\nopen");
    LineReader reader(in, 10);
    CHECK(*reader.next() == std::string(10, 'x'));
    CHECK(reader.cut());
    CHECK(reader.had_end());
    CHECK_FALSE(reader.had_carriage_return());
    CHECK(*reader.next() == "short");
    CHECK_FALSE(reader.cut());
    CHECK(reader.had_carriage_return());
    CHECK(*reader.next() == "open");
    CHECK_FALSE(reader.had_end());
    CHECK_FALSE(reader.next());
    CHECK_FALSE(reader.had_mark());
}
