// SPDX-License-Identifier: MIT
// The readers and validators of the exported tables: round trips, and all the ways to damage a file.
#include "exchange/table_check.hpp"

#include <catch2/catch.hpp>
#include <random>
#include <sstream>

#include "exchange/fits_table.hpp"
#include "exchange/outside_reader.hpp"
#include "exchange/table_samples.hpp"

namespace emberline::exchange {
namespace {

using test::InventedCurve;
using test::read_back;
using test::said;
using test::sample_meta;
using test::table_of;

constexpr TableFormat formats[] = {TableFormat::csv, TableFormat::ecsv, TableFormat::votable};

// Half a unit of the last digit that is written, and what the decimal of a double may miss it by.
double tolerance(const TableColumn& column, double value) {
    return 0.5 * std::pow(10.0, -column.decimals) * (1.0 + 1e-9) + std::abs(value) * 2.3e-16;
}

// The column in which the two differ; empty where they agree.
std::string difference(std::span<const Cell> truth, std::span<const Cell> read, TableLevel level) {
    const auto columns = columns_of(level);
    for (std::size_t i = 0; i < columns.size(); ++i) {
        bool same = truth[i].index() == read[i].index();
        if (same && std::holds_alternative<double>(truth[i])) {
            const double value = std::get<double>(truth[i]);
            same = std::abs(std::get<double>(read[i]) - value) <= tolerance(columns[i], value);
        } else {
            same = same && truth[i] == read[i];
        }
        if (!same) return std::string(columns[i].name);
    }
    return {};
}

template <class Row>
void check_round_trip(const std::vector<Row>& rows, TableFormat format, unsigned seed) {
    INFO("seed " << seed << ", format " << static_cast<int>(format));
    const std::string text = table_of(rows, format);
    const auto read = read_back(text);
    INFO(said(read.checked));
    REQUIRE(read.checked.findings.empty());
    REQUIRE(read.checked.level == level_of<Row>);
    REQUIRE(read.rows.size() == rows.size());
    std::vector<Cell> cells;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        read_cells(rows[i], cells);
        const std::string column = difference(cells, read.rows[i], level_of<Row>);
        if (!column.empty()) FAIL("row " << i << ", column " << column);
    }
}

TEST_CASE("A thousand random light curves come back from every format, to its digits", "[tables]") {
    for (unsigned seed = 1; seed <= 500; ++seed) {
        InventedCurve invented(seed);
        const auto nights = invented.nights(1 + static_cast<int>(seed % 7));
        const auto frames = invented.frames(1 + static_cast<int>(seed % 5));
        for (const TableFormat format : formats) {
            check_round_trip(nights, format, seed);
            check_round_trip(frames, format, seed);
        }
    }
}

std::string replaced(std::string text, std::string_view from, std::string_view to) {
    const auto at = text.find(from);
    REQUIRE(at != std::string::npos);
    return text.replace(at, from.size(), to);
}
bool says(const CheckedTable& checked, std::string_view what, std::size_t line = 0,
          std::string_view field = "", bool error = true) {
    return std::any_of(checked.findings.begin(), checked.findings.end(), [&](const Finding& f) {
        return f.error == error && (line == 0 || f.line == line) && (field.empty() || f.field == field) &&
               f.what.find(what) != std::string::npos;
    });
}

std::vector<night::NightMeasurement> three_nights() {
    auto later = test::sample_night("2024-02-05");
    later.jd_utc += 2.0;
    later.bjd_tdb += 2.0;
    auto limit = test::as_limit(test::sample_night("2024-02-06"));
    limit.jd_utc += 3.0;
    limit.bjd_tdb += 3.0;
    return {test::sample_night(), later, limit};
}

// Line of the first row.
std::size_t first_row(const std::string& text, TableFormat format) {
    const auto at = format == TableFormat::votable ? text.find("<TR>") : text.find("\n2024-02-03") + 1;
    return 1 + static_cast<std::size_t>(std::count(text.begin(), text.begin() + static_cast<long>(at), '\n'));
}

// Replaces the field of that column in the first row.
std::string with_field(TableFormat format, std::string_view column, std::string_view value) {
    const std::string text = table_of(three_nights(), format);
    std::size_t place = 0;
    while (columns_of(TableLevel::night)[place].name != column)
        ++place;
    if (format == TableFormat::votable) {
        auto at = text.find("<TR>");
        for (std::size_t i = 0; i <= place; ++i)
            at = text.find("<TD>", at) + 4;
        return text.substr(0, at) + std::string(value) + text.substr(text.find("</TD>", at));
    }
    auto at = text.find("\n2024-02-03") + 1;
    for (std::size_t i = 0; i < place; ++i)
        at = text.find(',', at) + 1;
    return text.substr(0, at) + std::string(value) + text.substr(text.find_first_of(",\n", at));
}

TEST_CASE("Every wrong value is named by line and column, in every format", "[tables]") {
    struct Case {
        std::string_view column, value, says;
    };
    const std::vector<Case> cases{
        {"night", "2024-02-30", "is no date"},
        {"night", "3.2.2024", "is no date"},
        {"night", "2024-02-07", "is not in the night"},
        {"band", "Green", "is not a band"},
        {"band", "", "is not a band"},
        {"jd_utc", "60344.01", "looks like an MJD"},
        {"jd_utc", "344.5", "is no Julian date"},
        {"jd_utc", "", "The date is missing"},
        {"jd_utc", "2024-02-03T21:00:00", "is not a number"},
        {"bjd_tdb", "2460344.52", "d from jd_utc"},
        {"bjd_tdb", "NULL", "is not a number"},
        {"mag", "fifteen", "is not a number"},
        {"mag", "15.1.2", "is not a number"},
        {"mag", "99.99", "is not from -30 to 40"},
        {"mag", "-999", "is not from -30 to 40"},
        {"mag", "0x1A", "is not a number"},
        {"mag", "1e999", "is not a number"},
        {"mag", "", "neither a magnitude nor a limit"},
        {"mag_err", "0.00000", "is not above 0 to 10"},
        {"mag_err", "-0.01", "is not above 0 to 10"},
        {"mag_err", "", "without its error"},
        {"mag_err", "0.02", "not the sum of its parts"},
        {"is_limit", "1", "A limit has no error"},
        {"is_limit", "maybe", "is not "},
        {"is_limit", "", "is empty"},
        {"n_frames", "12.5", "is not a whole number"},
        {"n_frames", "-1", "is not from 0"},
        {"n_frames", "", "is empty"},
        {"airmass", "0.5", "is not from 0.99"},
        {"method", "", "is missing"},
        {"transformed", "2", "is not "},
        {"flags", "sunny", "is not a flag"},
        {"flags", "cloud trailed", "is not a flag"},
        {"method", "a\xff\xfe", "bytes that are not text"},
        {"mag", "15\xc3\xa9", "is not a number"},
    };
    for (const TableFormat format : formats) {
        const std::size_t line = first_row(table_of(three_nights(), format), format);
        for (const Case& one : cases) {
            std::string value(one.value);
            if (format != TableFormat::csv && one.column == "is_limit" && value == "1")
                value = format == TableFormat::ecsv ? "True" : "true";
            const auto read = read_back(with_field(format, one.column, value));
            INFO("format " << static_cast<int>(format) << ", " << one.column << " = " << value << "\n"
                           << said(read.checked));
            const std::string_view field = one.says == "A limit has no error" ? "mag_err" : one.column;
            // Text in bytes that are none is found by the line in CSV, and of no one column.
            const bool by_line =
                one.says == "bytes that are not text" || one.value.find('\xc3') != std::string_view::npos;
            CHECK(says(read.checked, one.says, line, by_line ? "" : field));
            CHECK_FALSE(read.checked.valid());
            CHECK(read.checked.rows >= 2);  // the others are read all the same
        }
    }
}

TEST_CASE("A band by another of its names is read, with a word about ours", "[tables]") {
    const auto read = read_back(with_field(TableFormat::csv, "band", "Johnson V"));
    CHECK(read.checked.valid());
    CHECK(says(read.checked, "is written V", 2, "band", false));
}

TEST_CASE("Frames have their own rules for limits", "[tables]") {
    auto limit = test::as_limit(test::sample_frame());
    const std::string good = table_of<night::FrameMeasurement>({limit}, TableFormat::csv);
    CHECK(read_back(good).checked.findings.empty());
    CHECK(says(read_back(replaced(good, ",19.50000,1,", ",,1,")).checked, "The limit itself is missing", 2,
               "limit_mag"));
    CHECK(says(read_back(replaced(good, ",,,19.50000,1,", ",15.0,,19.50000,1,")).checked, "has no magnitude",
               2, "mag"));
    night::FrameMeasurement unused;  // neither a magnitude nor a limit, and that is well
    unused.frame = "frames/v_003.fits";
    unused.night = "2024-02-03";
    unused.band = parse_band("V").value();
    unused.jd_utc = 2460344.6;
    CHECK(read_back(table_of<night::FrameMeasurement>({unused}, TableFormat::csv)).checked.findings.empty());
    CHECK(says(read_back(replaced(good, "frames/v_001.fits", "")).checked, "has no name", 2, "frame"));
}

TEST_CASE("Columns missing, twice, strange or out of order", "[tables]") {
    const std::string good = table_of(three_nights(), TableFormat::csv);
    const auto missing = read_back(replaced(good, "mag_err,mag_err_random", "mag_error,mag_err_random"));
    CHECK(says(missing.checked, "The column is missing", 1, "mag_err"));
    CHECK(says(missing.checked, "'mag_error' is no column", 1, "", false));
    CHECK(missing.checked.rows == 3);
    // What is not there is said once, and not again of every row.
    for (const TableColumn& column : columns_of(TableLevel::night)) {
        const std::string name(column.name), end = name == "flags" ? "\n" : ",";
        const auto without = read_back(replaced("," + good, "," + name + end, ",x" + end).substr(1));
        INFO(name << "\n" << said(without.checked));
        CHECK(without.checked.rows == 3);
        CHECK(without.checked.findings.size() == 2);
        CHECK(says(without.checked, "The column is missing", 1, name));
    }
    CHECK(says(read_back(replaced(good, "n_rejected", "n_frames")).checked, "stands twice", 1, "n_frames"));
    // Two columns exchanged, names and values: read as well as ever.
    std::string exchanged;
    std::istringstream lines(good);
    for (std::string line; std::getline(lines, line);) {
        const auto first = line.find(','), second = line.find(',', first + 1);
        exchanged += line.substr(first + 1, second - first - 1) + "," + line.substr(0, first) +
                     line.substr(second) + "\n";
    }
    const auto other_order = read_back(exchanged);
    CHECK(other_order.checked.valid());
    CHECK(says(other_order.checked, "another order", 1, "", false));
    REQUIRE(other_order.rows.size() == 3);
    CHECK(other_order.rows == read_back(good).rows);
    CHECK(says(read_back("a,b,c\n1,2,3\n").checked, "not those of an exported table", 1));
}

TEST_CASE("Lines of CSV and ECSV damaged in every way", "[tables]") {
    for (const TableFormat format : {TableFormat::csv, TableFormat::ecsv}) {
        const std::string good = table_of(three_nights(), format);
        const std::size_t row = first_row(good, format);
        INFO("format " << static_cast<int>(format));
        CHECK(read_back(good).checked.findings.empty());
        CHECK(says(read_back(replaced(good, ",aperture,", ",aperture,,")).checked,
                   "has 16 fields where the table has 15 columns", row));
        CHECK(says(read_back(replaced(good, ",aperture,", ",")).checked, "has 14 fields", row));
        CHECK(says(read_back(replaced(good, ",aperture,", ",\"aperture,")).checked, "not closed on its line",
                   row));
        CHECK(says(read_back(replaced(good, ",aperture,", ",\"aper\"ture,")).checked,
                   "Text follows a closing quotation mark", row));
        CHECK(says(read_back(replaced(good, ",aperture,", ",aper\"ture,")).checked, "stands within a field",
                   row));
        CHECK(says(read_back(replaced(good, ",aperture,", ",ap\xe9rture,")).checked, "not text", row));
        CHECK(says(read_back(replaced(good, "\n2024-02-05", "\n\n2024-02-05")).checked, "The line is empty",
                   row + 1, "", false));
        CHECK(says(read_back(replaced(good, "\n2024-02-05", "\n# mine\n2024-02-05")).checked, "a comment",
                   row + 1, "", false));
        // In the middle of the last row, and just before its end.
        const std::string cut = good.substr(0, good.size() - 30), bare = good.substr(0, good.size() - 1);
        CHECK(says(read_back(cut).checked, "The last line has no end", row + 2));
        CHECK(says(read_back(cut).checked, "fields where the table has", row + 2));
        CHECK(says(read_back(bare).checked, "The last line has no end", row + 2));
        const auto marked = read_back("\xEF\xBB\xBF" + good);
        CHECK(marked.checked.valid());
        CHECK(says(marked.checked, "byte-order mark", 1, "", false));
        std::string dos;
        for (const char c : good)
            dos += c == '\n' ? std::string("\r\n") : std::string(1, c);
        const auto returned = read_back(dos);
        CHECK(returned.checked.valid());
        CHECK(returned.rows.size() == 3);
        CHECK(says(returned.checked, "end with CR", 1, "", false));
        const std::string names = good.substr(
            good.find("night,band"), good.find('\n', good.find("night,band")) - good.find("night,band") + 1);
        CHECK(says(read_back(good + names).checked, "two tables were put together", row + 3));
        const std::string last = good.substr(good.rfind('\n', good.size() - 2) + 1);
        CHECK(says(read_back(good + last).checked, "stands in line " + std::to_string(row + 2) + " already",
                   row + 3));
        CHECK(says(read_back(good + good.substr(good.find("\n2024-02-03") + 1)).checked,
                   "not in order of time", row + 3, "night", false));
        CHECK(says(read_back(replaced(good, ",aperture,", "," + std::string(70000, 'a') + ",")).checked,
                   "longer than", row));
    }
    const std::string good = table_of(three_nights(), TableFormat::csv);
    for (const char delimiter : {';', '\t', '|'}) {
        std::string other = good;
        std::replace(other.begin(), other.end(), ',', delimiter);
        const auto read = read_back(other);
        CHECK(says(read.checked, "must be by a comma", 1));
        CHECK(read.rows == read_back(good).rows);  // and read all the same
    }
    CHECK(says(read_back("").checked, "The file is empty"));
    CHECK(says(read_back("\n\n").checked, "no line with the names"));
    std::string wide = "\xFF\xFE";
    for (const char c : good)
        wide += std::string(1, c) + '\0';
    CHECK(says(read_back(wide).checked, "not as UTF-16", 1));
    CHECK(says(read_back(good.substr(0, good.find('\n') + 1)).checked, "no row", 0, "", false));
}

TEST_CASE("What the header of ECSV says of the columns is checked", "[tables]") {
    const std::string good = table_of(three_nights(), TableFormat::ecsv);
    CHECK(says(read_back(replaced(good, "name: jd_utc, datatype: float64", "name: jd_utc, datatype: float32"))
                   .checked,
               "a quarter of a day", 1, "jd_utc"));
    CHECK(
        says(read_back(replaced(good, "name: mag, datatype: float64", "name: mag, datatype: string")).checked,
             "does not fit", 1, "mag"));
    CHECK(says(read_back(replaced(good, "datatype: float64, unit: d", "datatype: float64, unit: s")).checked,
               "should be 'd'", 1, "jd_utc"));
    CHECK(says(read_back(replaced(good, "name: mag_err,", "name: mag_error,")).checked, "other columns"));
    CHECK(says(read_back(replaced(good, "# datatype:", "# datatyp:")).checked, "'datatype' is missing"));
    CHECK(says(read_back(replaced(good, "{name: mag,", "{name: [mag,")).checked, "header cannot be read"));
    std::string blanks = good;  // as astropy writes it
    blanks = replaced(blanks, "# delimiter: ','\n", "");
    const auto names = blanks.find("\nnight,");
    std::replace(blanks.begin() + static_cast<long>(names), blanks.end(), ',', ' ');
    CHECK(read_back(blanks).rows.size() == 3);
    std::string endless = good.substr(0, good.find("\nnight,") + 1);
    for (int i = 0; i < 40000; ++i)
        endless += "# - {name: more, datatype: float64}\n";
    CHECK(says(read_back(endless + "night,band,mag\n").checked, "The header is longer"));
}

TEST_CASE("Findings are counted after the first thousand", "[tables]") {
    std::string text = table_of(three_nights(), TableFormat::csv);
    for (int i = 0; i < 2000; ++i)
        text += "too,few\n";
    const auto read = read_back(text);
    CHECK(read.checked.findings.size() == 1001);
    CHECK(read.checked.findings.back().what.starts_with("1000 more findings"));
}

TEST_CASE("A visitor that has enough stops the reading", "[tables]") {
    for (const TableFormat format : formats) {
        std::istringstream in(table_of(three_nights(), format));
        int rows = 0;
        const auto checked =
            check_table(in, [&](TableLevel, std::size_t, std::span<const Cell>) { return ++rows < 2; });
        CHECK(rows == 2);
        CHECK(checked.valid());
    }
}

TEST_CASE("Wherever a file is cut, it is found out", "[tables]") {
    // A table of lines that ends where a line does is a shorter table: nothing tells it from a whole one.
    for (const TableFormat format : formats) {
        const std::string good = table_of(three_nights(), format);
        const auto rows_begin = good.find(format == TableFormat::votable ? "<TABLEDATA>" : "\n2024-02-03");
        for (std::size_t length = rows_begin; length + 1 < good.size(); ++length) {
            const bool at_line = format != TableFormat::votable && good[length - 1] == '\n';
            if (at_line) continue;
            const auto read = read_back(good.substr(0, length));
            if (read.checked.valid())
                FAIL("format " << static_cast<int>(format) << " cut at byte " << length);
        }
    }
}

TEST_CASE("Bytes changed at random are read to the end, and what is valid has its columns", "[tables]") {
    constexpr unsigned seed = 20240203;
    INFO("seed " << seed);
    std::mt19937 random(seed);
    const auto below = [&](std::size_t n) {
        return std::uniform_int_distribution<std::size_t>(0, n - 1)(random);
    };
    static constexpr std::string_view pieces[] = {"<",         ">",     "&",    "\"", "\n", "]]>", "<!--",
                                                  "<![CDATA[", "</TD>", ",",    "#",  "\r", "'",   "<?",
                                                  "/>",        "{",     "\xff", "=",  "0",  "-"};
    std::size_t found = 0;
    for (const TableFormat format : formats) {
        const std::string good = table_of(three_nights(), format);
        for (int i = 0; i < 1000; ++i) {
            std::string bad = good;
            for (std::size_t changes = 1 + below(4); changes > 0; --changes) {
                const std::string_view piece = pieces[below(std::size(pieces))];
                bad.replace(below(bad.size()), below(4), piece);
            }
            const auto read = read_back(bad);
            found += read.checked.findings.empty() ? 0 : 1;
            for (const auto& row : read.rows)
                REQUIRE(row.size() == columns_of(*read.checked.level).size());
        }
    }
    CHECK(found > 1500);  // the rest fell on descriptions, digits and the like
}

TEST_CASE("A file is told by its content: FITS goes to its own reader, and its rows are judged alike",
          "[tables]") {
    const test::ScratchFolder folder;
    const std::string text = table_of(three_nights(), TableFormat::csv);
    const auto csv = check_table_file(folder.file("nights.vot", text));
    REQUIRE(csv);
    CHECK(csv->format == "CSV");
    CHECK(csv->rows == 3);
    auto nights = three_nights();
    nights[1].band = {};
    for (const bool damaged : {false, true}) {
        const std::string path = folder.file("nights.fits", "");
        auto writer = FitsTableWriter<night::NightMeasurement>::create(path, sample_meta(), std::nullopt);
        REQUIRE(writer);
        for (const auto& night : damaged ? nights : three_nights())
            REQUIRE(writer->write(night));
        REQUIRE(writer->finish());
        const auto fits = check_table_file(path);
        REQUIRE(fits);
        INFO(said(*fits));
        CHECK(fits->format == "FITS");
        CHECK(fits->level == TableLevel::night);
        CHECK(fits->rows == 3);
        CHECK(fits->valid() == !damaged);
        CHECK(says(*fits, "is not a band", 2, "band") == damaged);
    }
}

TEST_CASE("A file that is not there is a problem, and no finding", "[tables]") {
    CHECK_FALSE(check_table_file("/no/such/table.csv"));
    CHECK_FALSE(check_table_file("/tmp"));
}

}  // namespace
}  // namespace emberline::exchange
