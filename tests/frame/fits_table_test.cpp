// SPDX-License-Identifier: MIT
// samples/table_binary.fits, table_ascii.fits and its gzipped copy were written by astropy 5.2.1: what stands
// in them is listed here.
#include "frame/fits_table.hpp"

#include <fitsio.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>

#include "frame/fits_maker.hpp"

using namespace emberline;
using namespace emberline::frame::testing;

namespace {

std::string sample(const std::string& name) {
    return std::string(EMBERLINE_TEST_DATA) + "/frame/samples/" + name;
}

const frame::FitsColumn& column(const frame::FitsTable& table, const std::string& name) {
    const auto found = std::find_if(table.columns.begin(), table.columns.end(),
                                    [&](const frame::FitsColumn& c) { return c.name == name; });
    INFO(name);
    REQUIRE(found != table.columns.end());
    return *found;
}

// The binary sample with one card changed, to the length that it has.
std::string with_card(const std::string& old_card, std::string new_card) {
    std::string bytes = bytes_of(sample("table_binary.fits"));
    const auto at = bytes.rfind(old_card);
    REQUIRE(at != std::string::npos);
    new_card.resize(80, ' ');
    bytes.replace(at, 80, new_card);
    return bytes;
}

void check_refused(const std::string& path, const std::string& saying) {
    const auto table = frame::read_fits_table(path);
    REQUIRE_FALSE(table);
    INFO(one_line(table.error()));
    CHECK(table.error().what.find(saying) != std::string::npos);
    CHECK(table.error().what.ends_with('.'));
    CHECK(table.error().where.find(path) != std::string::npos);
    CHECK_FALSE(table.error().mend.empty());
}

}  // namespace

TEST_CASE("a binary table comes out as another program wrote it", "[fits_table]") {
    const auto table = frame::read_fits_table(sample("table_binary.fits"));
    REQUIRE(table);
    CHECK(table->rows == 6);
    CHECK(table->header.number("EQUINOX") == 2000.0);

    const auto& ra = column(*table, "ra");
    CHECK(ra.unit == "deg");
    CHECK(ra.meaning == "pos.eq.ra;meta.main");
    REQUIRE(ra.numbers.size() == 6);
    CHECK(ra.numbers[0] == 10.125);
    CHECK(std::isnan(ra.numbers[3]));
    CHECK(ra.numbers[5] == 359.999);
    CHECK(column(*table, "mag").numbers[1] == 10.25);
    CHECK(std::isnan(column(*table, "mag").numbers[4]));

    const auto& label = column(*table, "label");
    CHECK(label.is_text);
    CHECK(label.texts == std::vector<std::string>{"ALPHA 1", "B", "C c", "", "Echo", "F-6"});
    // Offset, scale and the undefined value of whole numbers: TZERO, TSCAL, TNULL.
    CHECK(column(*table, "count").numbers == std::vector<double>{0.0, 1.0, 40000.0, 65535.0, 7.0, 8.0});
    const auto& scaled = column(*table, "scaled");
    CHECK(scaled.numbers[1] == 100.5);
    CHECK(scaled.numbers[2] == 99.5);
    CHECK(std::isnan(scaled.numbers[5]));
    CHECK(column(*table, "byte").numbers[5] == 5.0);
    // 2⁶² + 1 and 2⁵³ + 1 are no doubles.
    const auto& id = column(*table, "id");
    CHECK_FALSE(id.is_text);
    CHECK(id.texts[0] == "4611686018427387905");
    CHECK(id.texts[5] == "9007199254740993");
    CHECK(id.texts[2].empty());
    CHECK(std::isnan(id.numbers[2]));
}

TEST_CASE("arrays and truth values are left out of a table, without harm to the rest", "[fits_table]") {
    const auto table = frame::read_fits_table(sample("table_binary.fits"));
    REQUIRE(table);
    CHECK(table->columns.size() == 7);
    for (const auto& c : table->columns) {
        CHECK(c.name != "vector");
        CHECK(c.name != "flag");
    }
}

TEST_CASE("an ASCII table is read, gzipped or not", "[fits_table]") {
    for (const char* name : {"table_ascii.fits", "table_ascii.fits.gz"}) {
        INFO(name);
        const auto table = frame::read_fits_table(sample(name));
        REQUIRE(table);
        CHECK(table->rows == 3);
        CHECK(column(*table, "RA").numbers == std::vector<double>{1.5, 123.456789, 359.0});
        CHECK(column(*table, "NAME").texts == std::vector<std::string>{"one", "two words", ""});
        CHECK(column(*table, "E").numbers[1] == Approx(2.5e10));
        CHECK(std::isnan(column(*table, "N").numbers[1]));
        CHECK(column(*table, "N").numbers[2] == 30000.0);
    }
}

TEST_CASE("a table without rows is a table", "[fits_table]") {
    const Folder folder;
    const auto table = frame::read_fits_table(folder.file(
        "none.fits", with_card("NAXIS2  =                    6", "NAXIS2  =                    0")));
    REQUIRE(table);
    CHECK(table->rows == 0);
    CHECK(column(*table, "ra").numbers.empty());
}

TEST_CASE("more rows than asked for are refused, not shortened", "[fits_table]") {
    CHECK(frame::read_fits_table(sample("table_binary.fits"), 6));
    const auto table = frame::read_fits_table(sample("table_binary.fits"), 5);
    REQUIRE_FALSE(table);
    CHECK(table.error().what == "The table has 6 rows; 5 are the most.");
}

TEST_CASE("a damaged table is refused in a sentence", "[fits_table]") {
    const Folder folder;
    const std::string whole = bytes_of(sample("table_binary.fits"));
    check_refused(folder.path("missing.fits"), "cannot be opened");
    check_refused(folder.file("empty.fits", ""), "not a FITS file");
    check_refused(folder.file("page.fits", "<!DOCTYPE html><html>"), "not a FITS file");
    check_refused(folder.file("only.fits", header_block({"SIMPLE  =                    T",
                                                         "BITPIX  =                    8",
                                                         "NAXIS   =                    0"})),
                  "holds no table");
    check_refused(folder.file("rows.fits",
                              with_card("NAXIS2  =                    6", "NAXIS2  =           4000000000")),
                  "4000000000 rows");
    check_refused(folder.file("long.fits",
                              with_card("NAXIS2  =                    6", "NAXIS2  =              4000000")),
                  "cut short");
    check_refused(folder.file("fields.fits",
                              with_card("TFIELDS =                    9", "TFIELDS =                99999")),
                  "TFIELDS is said to be '99999'.");
    check_refused(folder.file("text.fits",
                              with_card("NAXIS2  =                    6", "NAXIS2  = '6                 '")),
                  "NAXIS2 is said to be '6'.");
    check_refused(folder.file("name.fits", with_card("TTYPE1  =", "TTYPE1  = " + std::string(70, '\r'))),
                  "TTYPE1 is said to be ''.");
    check_refused(folder.file("cut.fits", whole.substr(0, whole.size() - 2880)), "cut short");
    check_refused(folder.file("head.fits", whole.substr(0, 2880 * 3 + 400)), "cut short or damaged");
    check_refused(folder.path(""), "not a file");
}

TEST_CASE("a table cut or changed anywhere never does harm", "[fits_table]") {
    const Folder folder;
    const std::string whole = bytes_of(sample("table_binary.fits"));
    const std::string packed = bytes_of(sample("table_ascii.fits.gz"));
    for (std::size_t length = 0; length < whole.size(); length += 700) {
        const auto table = frame::read_fits_table(folder.file("cut.fits", whole.substr(0, length)));
        if (length < whole.size() - 2880) CHECK_FALSE(table);
    }
    for (std::size_t length = 0; length < packed.size(); length += 41)
        CHECK_FALSE(frame::read_fits_table(folder.file("cut.fits.gz", packed.substr(0, length))));
    // Every card of the table's own header with another number in it.
    const std::size_t first = whole.find("XTENSION= 'BINTABLE'");
    for (std::size_t card = first; whole.compare(card, 4, "END ") != 0; card += 80) {
        for (const char* value : {"-1", "99999999999", "'x'", "0", "'9999999A'", "'P'", "1E400"}) {
            std::string bytes = whole;
            std::string line = bytes.substr(card, 10) + value;
            line.resize(80, ' ');
            bytes.replace(card, 80, line);
            const auto table = frame::read_fits_table(folder.file("changed.fits", bytes));
            if (!table) CHECK(table.error().what.ends_with('.'));
        }
    }
}

TEST_CASE("a table of another writer's making, with every width of whole number", "[fits_table]") {
    const Folder folder;
    const std::string path = folder.path("by_library.fits");
    fitsfile* file = nullptr;
    int status = 0;
    fits_create_diskfile(&file, path.c_str(), &status);
    const char* names[] = {"S", "I", "J", "K", "U64", "LONGTEXT"};
    const char* forms[] = {"S", "1I", "1J", "1K", "1W", "200A"};
    fits_create_tbl(file, BINARY_TBL, 0, 6, const_cast<char**>(names), const_cast<char**>(forms), nullptr,
                    "STARS", &status);
    signed char small = -100;
    short middle = -30000;
    int large = -2000000000;
    LONGLONG huge = -9000000000000000001LL;
    ULONGLONG unsigned_huge = 18000000000000000000ULL;
    std::string letters(200, 'x');
    char* text = letters.data();
    fits_write_col(file, TSBYTE, 1, 1, 1, 1, &small, &status);
    fits_write_col(file, TSHORT, 2, 1, 1, 1, &middle, &status);
    fits_write_col(file, TINT, 3, 1, 1, 1, &large, &status);
    fits_write_col(file, TLONGLONG, 4, 1, 1, 1, &huge, &status);
    fits_write_col(file, TULONGLONG, 5, 1, 1, 1, &unsigned_huge, &status);
    fits_write_col(file, TSTRING, 6, 1, 1, 1, &text, &status);
    fits_close_file(file, &status);
    REQUIRE(status == 0);
    const auto table = frame::read_fits_table(path);
    REQUIRE(table);
    CHECK(column(*table, "S").numbers[0] == -100.0);
    CHECK(column(*table, "I").numbers[0] == -30000.0);
    CHECK(column(*table, "J").numbers[0] == -2e9);
    CHECK(column(*table, "K").texts[0] == "-9000000000000000001");
    CHECK(column(*table, "U64").numbers[0] == 1.8e19);
    CHECK(column(*table, "LONGTEXT").texts[0] == letters);
}
