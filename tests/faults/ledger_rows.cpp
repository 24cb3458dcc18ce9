// SPDX-License-Identifier: MIT
#include "faults/ledger_rows.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <stdexcept>

#include "ledger/connection.hpp"

namespace emberline::faults {
namespace {

using ledger::Connection;
using ledger::Statement;
using ledger::Transaction;

constexpr double wait_s = 20.0;

struct Column {
    std::string name;
    bool in_key = false;
};

std::vector<std::string> texts(Connection& connection, const std::string& sql) {
    Statement statement(connection, sql);
    std::vector<std::string> out;
    while (statement.step())
        out.push_back(statement.text(0));
    return out;
}

std::vector<std::string> tables(Connection& connection) {
    return texts(
        connection,
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY 1");
}

std::vector<Column> columns_of(Connection& connection, const std::string& table) {
    Statement statement(connection, fmt::format("SELECT name, pk FROM pragma_table_info('{}')", table));
    std::vector<Column> out;
    while (statement.step())
        out.push_back({statement.text(0), statement.integer(1) > 0});
    return out;
}

template <class Work>
auto read(const std::string& path, const Work& work) {
    try {
        Connection connection(path, Connection::Mode::read, wait_s);
        Transaction transaction(connection, Transaction::Kind::read);
        return work(connection);
    } catch (const ledger::Failure& failure) {
        throw std::runtime_error(one_line(failure.problem));
    }
}

void add_rows(Connection& connection, const std::string& table, Rows& rows) {
    const std::vector<Column> columns = columns_of(connection, table);
    std::string quoted;
    for (const Column& column : columns)
        quoted += fmt::format("{}quote({})", quoted.empty() ? "" : ", ", column.name);
    Statement statement(connection, fmt::format("SELECT {} FROM {}", quoted, table));
    while (statement.step()) {
        Row row{table, {}};
        for (std::size_t i = 0; i < columns.size(); ++i) {
            std::string value = statement.text(static_cast<int>(i));
            if (columns[i].in_key) row.key += " " + value;
            row.cells.emplace(columns[i].name, std::move(value));
        }
        std::string key = row.key;
        rows.emplace(std::move(key), std::move(row));
    }
}

bool may_change(const std::string& column, const std::string& before) {
    if (column == "position") return true;
    return before == "NULL" &&
           (column == "superseded_by" || column == "last_solution" || column == "ended_at");
}

const std::set<std::string> of_the_moment = {
    "id",        "provenance_id",  "recorded_at",      "superseded_by",   "since",
    "until",     "first_solution", "last_solution",    "frame_fluxes_id", "ended_at",
    "stored_at", "common_names",   "comparison_labels"};

// There for the rows that point at them, for former times, or for frames without plate solutions.
const std::set<std::string> helping = {"name_list",         "provenance",     "solution",
                                       "former_frame_name", "plate_solution", "field_reference"};

// Of rows that belong to frames, those of frames that count; of the others, those that nothing has ended.
std::string counting(const std::vector<Column>& columns) {
    std::string where = "1";
    for (const Column& column : columns) {
        if (column.name == "superseded_by" || column.name == "last_solution" || column.name == "ended_at")
            where += fmt::format(" AND t.{} IS NULL", column.name);
        if (column.name == "frame_fluxes_id") where += " AND f.superseded_by IS NULL";
    }
    return where;
}

void add_present(Connection& connection, const std::string& table, std::multiset<std::string>& lines) {
    const std::vector<Column> columns = columns_of(connection, table);
    std::string parts = fmt::format("'{}'", table), from = table + " t";
    for (const Column& column : columns) {
        if (column.name == "frame_fluxes_id") {
            parts += " || ' ' || f.fingerprint || ' ' || f.plane";
            from += " JOIN frame_fluxes f ON f.id = t.frame_fluxes_id";
        } else if (column.name == "common_names" || column.name == "comparison_labels") {
            parts += fmt::format(" || ' {0}=' || (SELECT quote(names) FROM name_list WHERE id = t.{0})",
                                 column.name);
        } else if (!of_the_moment.contains(column.name)) {
            parts += fmt::format(" || ' {0}=' || quote(t.{0})", column.name);
        }
    }
    for (std::string& line :
         texts(connection, fmt::format("SELECT {} FROM {} WHERE {}", parts, from, counting(columns))))
        lines.insert(std::move(line));
}

}  // namespace

Rows rows_of(const std::string& ledger) {
    std::error_code error;
    if (!std::filesystem::exists(ledger, error)) return {};
    return read(ledger, [](Connection& connection) {
        Rows rows;
        for (const std::string& table : tables(connection))
            add_rows(connection, table, rows);
        return rows;
    });
}

std::vector<std::string> lost(const Rows& before, const Rows& after) {
    std::vector<std::string> out;
    for (const auto& [key, row] : before) {
        const auto now = after.find(key);
        if (now == after.end()) {
            out.push_back(key + " is gone");
            continue;
        }
        for (const auto& [column, value] : row.cells) {
            const auto cell = now->second.cells.find(column);
            if (cell == now->second.cells.end()) {
                out.push_back(fmt::format("{} has no {} any more", key, column));
            } else if (cell->second != value && !may_change(column, value)) {
                out.push_back(fmt::format("{} has another {}", key, column));
            }
        }
    }
    return out;
}

std::multiset<std::string> present(const std::string& ledger) {
    return read(ledger, [](Connection& connection) {
        std::multiset<std::string> lines;
        for (const std::string& table : tables(connection)) {
            if (!helping.contains(table)) add_present(connection, table, lines);
        }
        return lines;
    });
}

std::string unsound(const std::string& ledger) {
    std::error_code error;
    if (!std::filesystem::exists(ledger, error)) return {};
    try {
        return read(ledger, [](Connection& connection) {
            for (const std::string& found : texts(connection, "PRAGMA integrity_check")) {
                if (found != "ok") return found;
            }
            Statement orphans(connection, "PRAGMA foreign_key_check");
            return orphans.step() ? "a row of " + orphans.text(0) + " points at nothing" : std::string();
        });
    } catch (const std::exception& problem) {
        return problem.what();
    }
}

}  // namespace emberline::faults
