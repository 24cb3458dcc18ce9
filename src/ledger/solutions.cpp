// SPDX-License-Identifier: MIT
#include "ledger/solutions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_map>

#include "ledger/provenance.hpp"
#include "ledger/solution_rows.hpp"

namespace emberline::ledger {
namespace {

template <class Row>
std::string bytes_of(const Row& row) {
    ColumnBytes bytes;
    Table<Row>::columns(bytes, row);
    return bytes.bytes();
}

// One table of the newest solution against the rows of the next.
template <class Row>
class TableUpdate {
  public:
    TableUpdate(Connection& connection, NameLists& lists, const std::vector<Row>& rows)
        : connection_(connection), lists_(lists), rows_(rows) {
        // Rows left as they were are found by all of their contents; the same contents twice count twice.
        std::unordered_multimap<std::string, std::size_t> wanted;
        wanted.reserve(rows.size());
        for (std::size_t i = 0; i < rows.size(); ++i)
            wanted.emplace(bytes_of(rows[i]), i);
        Statement stored(
            connection, fmt::format("SELECT id, position, {} FROM {} WHERE last_solution IS NULL ORDER BY {}",
                                    column_names<Row>().list(), Table<Row>::name, Table<Row>::by_time));
        Row row;
        while (stored.step()) {
            ColumnReader read(stored, 2, lists_);
            Table<Row>::columns(read, row);
            const auto same = wanted.find(bytes_of(row));
            if (same == wanted.end()) {
                ended_.push_back(stored.integer(0));
                continue;
            }
            const auto position = static_cast<std::int64_t>(same->second);
            if (stored.integer(1) != position) moved_.emplace_back(stored.integer(0), position);
            wanted.erase(same);
        }
        for (const auto& [bytes, i] : wanted)
            fresh_.push_back(i);
        std::sort(fresh_.begin(), fresh_.end());
    }

    [[nodiscard]] bool changes() const { return !ended_.empty() || !fresh_.empty(); }

    void write(std::int64_t solution) {
        Statement end(connection_,
                      fmt::format("UPDATE {} SET last_solution = ? WHERE id = ?", Table<Row>::name));
        for (const std::int64_t id : ended_) {
            end.bind(0, solution - 1);
            end.bind(1, id);
            end.run();
        }
        Statement move(connection_, fmt::format("UPDATE {} SET position = ? WHERE id = ?", Table<Row>::name));
        for (const auto& [id, position] : moved_) {
            move.bind(0, position);
            move.bind(1, id);
            move.run();
        }
        const ColumnNames names = column_names<Row>();
        Statement insert(connection_,
                         fmt::format("INSERT INTO {} (first_solution, position, {}) VALUES (?, ?, {})",
                                     Table<Row>::name, names.list(), names.places()));
        for (const std::size_t i : fresh_) {
            insert.bind(0, solution);
            insert.bind(1, static_cast<std::int64_t>(i));
            ColumnWriter write_row(insert, 2, lists_);
            Table<Row>::columns(write_row, rows_[i]);
            insert.run();
        }
    }

  private:
    Connection& connection_;
    NameLists& lists_;
    const std::vector<Row>& rows_;
    std::vector<std::int64_t> ended_;
    std::vector<std::pair<std::int64_t, std::int64_t>> moved_;
    std::vector<std::size_t> fresh_;
};

template <class Row>
std::vector<Row> rows_of(Connection& connection, NameLists& lists, std::int64_t solution) {
    Statement stored(connection,
                     fmt::format("SELECT {} FROM {} WHERE first_solution <= ?1 AND "
                                 "(last_solution IS NULL OR last_solution >= ?1) ORDER BY position",
                                 column_names<Row>().list(), Table<Row>::name));
    stored.bind(0, solution);
    std::vector<Row> rows;
    while (stored.step()) {
        ColumnReader read(stored, 0, lists);
        Table<Row>::columns(read, rows.emplace_back());
    }
    return rows;
}

template <class Row>
void visit_newest(Connection& connection, const std::function<bool(const Row&)>& visit) {
    Statement stored(connection,
                     fmt::format("SELECT {} FROM {} WHERE last_solution IS NULL ORDER BY {}",
                                 column_names<Row>().list(), Table<Row>::name, Table<Row>::by_time));
    NameLists lists(connection);
    Row row;
    while (stored.step()) {
        ColumnReader read(stored, 0, lists);
        Table<Row>::columns(read, row);
        if (!visit(row)) return;
    }
}

}  // namespace

std::optional<bool> store_solution(Connection& connection, const Solution& solution,
                                   const Provenance& provenance, std::optional<std::int64_t> if_still) {
    Transaction transaction(connection, Transaction::Kind::write);
    if (if_still && connection.integer("PRAGMA data_version") != *if_still) return std::nullopt;
    NameLists lists(connection);
    TableUpdate frames(connection, lists, solution.frames);
    TableUpdate nights(connection, lists, solution.nights);
    TableUpdate stars(connection, lists, solution.stars);
    if (!frames.changes() && !nights.changes() && !stars.changes()) return false;
    Statement insert(connection, "INSERT INTO solution (id, provenance_id, stored_at) VALUES (?, ?, ?)");
    const std::int64_t number = newest_solution_number(connection) + 1;
    insert.bind(0, number);
    insert.bind(1, provenance_id(connection, provenance));
    insert.bind_text(2, now_utc());
    insert.run();
    frames.write(number);
    nights.write(number);
    stars.write(number);
    transaction.commit();
    return true;
}

std::int64_t newest_solution_number(Connection& connection) {
    return connection.integer("SELECT coalesce(max(id), 0) FROM solution");
}

Solution solution_number(Connection& connection, std::int64_t number) {
    NameLists lists(connection);
    Solution solution;
    solution.frames = rows_of<FrameMeasurement>(connection, lists, number);
    solution.nights = rows_of<NightMeasurement>(connection, lists, number);
    solution.stars = rows_of<StarVerdict>(connection, lists, number);
    return solution;
}

void visit_frame_measurements(Connection& connection,
                              const std::function<bool(const FrameMeasurement&)>& visit) {
    visit_newest(connection, visit);
}

void visit_night_measurements(Connection& connection,
                              const std::function<bool(const NightMeasurement&)>& visit) {
    visit_newest(connection, visit);
}

}  // namespace emberline::ledger
