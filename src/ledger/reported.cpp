// SPDX-License-Identifier: MIT
#include "ledger/reported.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <chrono>
#include <cstdint>

namespace emberline::ledger {
namespace {

// What still stands of a format: ? the format, ? the format of the rows that take back.
constexpr const char* standing =
    "format = ? AND id NOT IN (SELECT CAST(content AS INTEGER) FROM reported WHERE format = ?)";

std::string taking_back(std::string_view format) {
    return fmt::format("taken back {}", format);
}

void bind_standing(Statement& statement, std::string_view format) {
    statement.bind_text(0, format);
    statement.bind_text(1, taking_back(format));
}

// To the millisecond: two files of one second are two reports.
std::string this_moment() {
    using namespace std::chrono;
    const auto now = time_point_cast<milliseconds>(system_clock::now());
    const auto second = floor<seconds>(now);
    return fmt::format("{:%Y-%m-%dT%H:%M:%S}.{:03}Z", fmt::gmtime(system_clock::to_time_t(second)),
                       (now - second).count());
}

void insert_lines(Connection& connection, const std::vector<ReportedLine>& lines) {
    Statement insert(connection,
                     "INSERT INTO reported (format, subject, content, file, since) VALUES (?, ?, ?, ?, ?)");
    const std::string time = this_moment();
    for (const ReportedLine& line : lines) {
        insert.bind_text(0, line.format);
        insert.bind_text(1, line.subject);
        insert.bind_text(2, line.content);
        insert.bind_text(3, line.file);
        insert.bind_text(4, time);
        insert.run();
    }
}

ReportedLine line_of(const Statement& row) {
    return {.format = row.text(0),
            .subject = row.text(1),
            .content = row.text(2),
            .file = row.text(3),
            .since = row.text(4)};
}

struct NumberedLine {
    std::int64_t id = 0;
    ReportedLine line;
};

std::vector<NumberedLine> newest_standing(Connection& connection, std::string_view format) {
    // One file is written at one time.
    Statement find(connection,
                   fmt::format("WITH standing AS (SELECT * FROM reported WHERE {}) "
                               "SELECT format, subject, content, file, since, id FROM standing "
                               "WHERE (file, since) = (SELECT file, since FROM standing ORDER BY id DESC "
                               "LIMIT 1) ORDER BY id",
                               standing));
    bind_standing(find, format);
    std::vector<NumberedLine> lines;
    while (find.step())
        lines.push_back({find.integer(5), line_of(find)});
    return lines;
}

}  // namespace

void add_reported(Connection& connection, const std::vector<ReportedLine>& lines) {
    if (lines.empty()) return;
    Transaction transaction(connection, Transaction::Kind::write);
    insert_lines(connection, lines);
    transaction.commit();
}

std::vector<ReportedLine> newest_reported(Connection& connection, std::string_view format) {
    Statement find(connection,
                   fmt::format("SELECT format, subject, content, file, since FROM reported WHERE id IN "
                               "(SELECT max(id) FROM reported WHERE {} GROUP BY subject) ORDER BY subject",
                               standing));
    bind_standing(find, format);
    std::vector<ReportedLine> lines;
    while (find.step())
        lines.push_back(line_of(find));
    return lines;
}

std::vector<ReportedLine> lines_of_newest_report(Connection& connection, std::string_view format) {
    std::vector<ReportedLine> lines;
    for (NumberedLine& one : newest_standing(connection, format))
        lines.push_back(std::move(one.line));
    return lines;
}

void add_taken_back(Connection& connection, std::string_view format, std::string_view file,
                    std::string_view since) {
    Transaction transaction(connection, Transaction::Kind::write);
    const std::vector<NumberedLine> newest = newest_standing(connection, format);
    if (newest.empty() || newest.front().line.file != file || newest.front().line.since != since) {
        throw Failure{{.what = "That report is not the newest one any more.",
                       .where = std::string(file),
                       .mend = "Look at what was reported since, then try again.",
                       .kind = ProblemKind::request}};
    }
    std::vector<ReportedLine> rows;
    for (const NumberedLine& one : newest) {
        rows.push_back({.format = taking_back(format),
                        .subject = one.line.subject,
                        .content = std::to_string(one.id),
                        .file = one.line.file,
                        .since = {}});
    }
    insert_lines(connection, rows);
    transaction.commit();
}

}  // namespace emberline::ledger
