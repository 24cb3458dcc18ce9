// SPDX-License-Identifier: MIT
#include "frame/table_writer.hpp"

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <filesystem>
#include <limits>
#include <string>
#include <vector>

#include "frame/fits_maker.hpp"
#include "frame/fits_table.hpp"
#include "watched.hpp"

using namespace emberline;
using namespace emberline::frame;
using frame::testing::bytes_of;
using frame::testing::Folder;

namespace {

TableForm sample_form() {
    TableForm form;
    form.name = "POINTS";
    form.columns = {
        {"name", CellKind::text, "", "what it is called", "meta.id", "", 1, {}},
        {"jd", CellKind::number, "d", "Julian date", "time.epoch", "F17.8", 1, {{"TCTYP", "UTC", "", true}}},
        {"n", CellKind::whole, "", "how many", "meta.number", "", 1, {}},
        {"good", CellKind::truth, "", "", "", "", 1, {}},
        {"mag", CellKind::number, "mag", std::string(90, 'm'), "phot.mag", "", 1, {}}};
    form.cards = {{"OBJECT", "SN O'Hara", "the transient", true},
                  {"LONGTEXT", std::string(150, 'x') + "'s", "goes on", true},
                  {"JDREF", "0.0", "", false},
                  {"COMMENT", "", std::string(200, 'c'), false}};
    return form;
}

std::vector<Cell> sample_row(long long i) {
    return {"star " + std::to_string(i), 2460000.5 + 1e-8 * static_cast<double>(i), i, i % 2 == 0,
            15.0 + 1e-3 * static_cast<double>(i)};
}

const FitsColumn& column(const FitsTable& table, const std::string& name) {
    for (const FitsColumn& c : table.columns) {
        if (c.name == name) return c;
    }
    FAIL("no column " << name);
    return table.columns.front();
}

std::string said_by(const std::string& command, int& status) {
    std::string out;
    FILE* pipe = ::popen((command + " 2>&1").c_str(), "r");
    REQUIRE(pipe != nullptr);
    std::array<char, 4096> part{};
    while (std::fgets(part.data(), static_cast<int>(part.size()), pipe) != nullptr)
        out += part.data();
    const int ended = ::pclose(pipe);
    status = WIFEXITED(ended) ? WEXITSTATUS(ended) : -1;
    return out;
}

std::size_t files_in(const std::string& folder) {
    return static_cast<std::size_t>(
        std::distance(std::filesystem::directory_iterator(folder), std::filesystem::directory_iterator()));
}

void check_verifier(const std::string& path) {
    int status = 0;
    (void)said_by("fitsverify -h", status);
    if (status == 127) {
        WARN("SKIPPED: fitsverify is not installed; install the package of that name.");
        return;
    }
    const std::string verdict = said_by("fitsverify '" + path + "'", status);
    INFO(verdict);
    CHECK(status == 0);
    CHECK(verdict.find(" 0 warning(s) and 0 error(s)") != std::string::npos);
}

}  // namespace

TEST_CASE("a table comes back as it was written, undefined cells among it", "[table_writer]") {
    const Folder folder;
    const std::string path = folder.path("table.fits");
    auto writer = TableWriter::create(path, sample_form());
    REQUIRE(writer);
    REQUIRE((*writer)->append(sample_row(0)));
    REQUIRE((*writer)->append(std::vector<Cell>(5)));
    REQUIRE((*writer)->append(sample_row(2)));
    CHECK((*writer)->rows() == 3);
    CHECK_FALSE(std::filesystem::exists(path));
    REQUIRE((*writer)->finish());
    CHECK(files_in(folder.path("")) == 1);
    CHECK_FALSE((*writer)->append(sample_row(3)));
    CHECK_FALSE((*writer)->finish());

    std::size_t blocks = 0;
    const auto seen = for_each_fits_block(path, [&](const FitsTable& table, std::size_t first) {
        ++blocks;
        CHECK(first == 0);
        REQUIRE(table.rows == 3);
        CHECK(column(table, "name").texts == std::vector<std::string>{"star 0", "", "star 2"});
        CHECK(column(table, "jd").numbers[2] == 2460000.50000002);
        CHECK(std::isnan(column(table, "jd").numbers[1]));
        CHECK(column(table, "n").texts == std::vector<std::string>{"0", "", "2"});
        CHECK(column(table, "good").is_truth);
        CHECK(column(table, "good").numbers[0] == 1.0);
        CHECK(std::isnan(column(table, "good").numbers[1]));
        CHECK(column(table, "mag").meaning == "phot.mag");
        CHECK(column(table, "mag").unit == "mag");
        CHECK(table.header.text("TCTYP2") == "UTC");
        CHECK(table.header.text("OBJECT") == "SN O'Hara");
        CHECK(table.header.text("TCOMM5") == std::string(90, 'm'));
        CHECK(table.header.text("LONGTEXT") == std::string(150, 'x') + "'s");
        return true;
    });
    CHECK(seen == 3);
    CHECK(blocks == 1);
    CHECK(checksum_of_table(path) == Checksum::right);
    check_verifier(path);
}

TEST_CASE("a table without rows is whole too", "[table_writer]") {
    const Folder folder;
    const std::string path = folder.path("none.fits");
    auto writer = TableWriter::create(path, sample_form());
    REQUIRE(writer);
    REQUIRE((*writer)->finish());
    CHECK(for_each_fits_block(path, [](const FitsTable& t, std::size_t) { return t.columns.size() == 5; }) ==
          0);
    check_verifier(path);
}

TEST_CASE("texts are never cut: a longer one makes room in the rows before it", "[table_writer]") {
    const Folder folder;
    const std::string path = folder.path("wide.fits");
    auto writer = TableWriter::create(path, sample_form());
    REQUIRE(writer);
    constexpr long long rows = 20000;
    const auto name_of = [](long long i) { return std::string(static_cast<std::size_t>(1 + i / 400), 'a'); };
    for (long long i = 0; i < rows; ++i) {
        auto row = sample_row(i);
        row[0] = name_of(i);
        REQUIRE((*writer)->append(row));
    }
    REQUIRE((*writer)->finish());
    bool same = true;
    const auto seen = for_each_fits_block(
        path,
        [&](const FitsTable& block, std::size_t first) {
            const auto& names = column(block, "name").texts;
            const auto& counts = column(block, "n").numbers;
            for (std::size_t i = 0; i < block.rows; ++i) {
                const auto row = static_cast<long long>(first + i);
                same = same && names[i] == name_of(row) && counts[i] == static_cast<double>(row);
            }
            return true;
        },
        777);
    CHECK(seen == static_cast<std::size_t>(rows));
    CHECK(same);
    check_verifier(path);
}

TEST_CASE("the same table is the same file, byte for byte", "[table_writer]") {
    const Folder folder;
    for (const char* name : {"a.fits", "b.fits"}) {
        auto writer = TableWriter::create(folder.path(name), sample_form());
        REQUIRE(writer);
        REQUIRE((*writer)->append(sample_row(7)));
        REQUIRE((*writer)->finish());
    }
    CHECK(bytes_of(folder.path("a.fits")) == bytes_of(folder.path("b.fits")));
}

TEST_CASE("one changed byte of a table breaks its checksum", "[table_writer]") {
    const Folder folder;
    const std::string path = folder.path("table.fits");
    auto writer = TableWriter::create(path, sample_form());
    REQUIRE(writer);
    REQUIRE((*writer)->append(sample_row(7)));
    REQUIRE((*writer)->finish());
    std::string bytes = bytes_of(path);
    const auto at = bytes.find("star 7");
    REQUIRE(at != std::string::npos);
    bytes[at] = 'S';
    CHECK(checksum_of_table(folder.file("changed.fits", bytes)) == Checksum::wrong);
}

TEST_CASE("what a FITS table cannot hold is refused before it is written", "[table_writer]") {
    const Folder folder;
    const std::string path = folder.path("table.fits");
    auto writer = TableWriter::create(path, sample_form());
    REQUIRE(writer);
    const auto refused = [&](std::size_t cell, Cell value, const std::string& saying) {
        auto row = sample_row(1);
        row[cell] = std::move(value);
        const auto good = (*writer)->append(row);
        REQUIRE_FALSE(good);
        INFO(one_line(good.error()));
        CHECK(good.error().what.find(saying) != std::string::npos);
        CHECK(good.error().where.find("row 1") != std::string::npos);
    };
    refused(0, std::string("Ödön"), "printable ASCII");
    refused(0, std::string("a\tb"), "printable ASCII");
    refused(0, std::string("a\0b", 3), "printable ASCII");
    refused(0, 3.0, "another kind");
    refused(1, static_cast<long long>(3), "another kind");
    refused(2, std::numeric_limits<long long>::min(), "undefined");
    CHECK_FALSE((*writer)->append(std::vector<Cell>(4)));
    // A refused row leaves no trace, and the table goes on.
    REQUIRE((*writer)->append(sample_row(1)));
    REQUIRE((*writer)->finish());
    CHECK(for_each_fits_block(path, [](const FitsTable&, std::size_t) { return true; }) == 1);

    TableForm twice = sample_form();
    twice.columns[2].name = "JD";
    CHECK_FALSE(TableWriter::create(path, twice));
    TableForm foreign = sample_form();
    foreign.cards[0].value = "SN Ödön";
    CHECK_FALSE(TableWriter::create(path, foreign));
    CHECK_FALSE(TableWriter::create(path, {}));
}

TEST_CASE("a disk that takes no more leaves the old table and nothing else", "[table_writer]") {
    const Folder folder;
    const std::string path = folder.file("table.fits", "old");
    const auto nowhere = TableWriter::create(folder.path("no/table.fits"), sample_form());
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().kind == ProblemKind::storage);
    {
        auto given_up = TableWriter::create(path, sample_form());
        REQUIRE(given_up);
        REQUIRE((*given_up)->append(sample_row(1)));
    }
    CHECK(files_in(folder.path("")) == 1);
    // In a process of its own: the limit on file sizes stays with it.
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
        ::signal(SIGXFSZ, SIG_IGN);
        const rlimit limit{100'000, 100'000};
        ::setrlimit(RLIMIT_FSIZE, &limit);
        auto writer = TableWriter::create(path, sample_form());
        Result<void> good;
        for (long long i = 0; writer && good && i < 100'000; ++i)
            good = (*writer)->append(sample_row(i));
        if (good) good = (*writer)->finish();
        ::_exit(!good && good.error().kind == ProblemKind::storage ? 0 : 1);
    }
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    CHECK(WIFEXITED(status));
    CHECK(WEXITSTATUS(status) == 0);
    CHECK(bytes_of(path) == "old");
    CHECK(files_in(folder.path("")) == 1);
}

TEST_CASE("a million rows pass through in bounded memory", "[table_writer]") {
    const Folder folder;
    const std::string path = folder.path("million.fits");
    const auto peak_kib = [] {
        rusage use{};
        ::getrusage(RUSAGE_SELF, &use);
        return use.ru_maxrss;
    };
    const long before = peak_kib();
    auto writer = TableWriter::create(path, sample_form());
    REQUIRE(writer);
    for (long long i = 0; i < 1'000'000; ++i)
        REQUIRE((*writer)->append(sample_row(i)));
    REQUIRE((*writer)->finish());
    double sum = 0.0;
    CHECK(for_each_fits_block(path, [&](const FitsTable& block, std::size_t) {
              for (const double n : column(block, "n").numbers)
                  sum += n;
              return true;
          }) == 1'000'000);
    CHECK(sum == 999'999.0 * 500'000.0);
    if constexpr (emberline::testing::watched) {
        WARN("The sanitizer keeps freed memory aside: the bound on memory is SKIPPED.");
    } else {
        CHECK(peak_kib() - before < 32L * 1024);
    }
}
