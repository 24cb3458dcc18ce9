// SPDX-License-Identifier: MIT
#include "ledger/solutions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_map>

#include "ledger/columns.hpp"
#include "ledger/provenance.hpp"

namespace emberline::ledger {
namespace {

using night::FrameMeasurement;
using night::NightMeasurement;

template <class Visitor, class M>
void shared_columns(Visitor& visit, M& m) {
    visit("night", m.night);
    visit("band", m.band);
    visit("instrument", m.instrument);
    visit("jd_utc", m.jd_utc);
    visit("bjd_tdb", m.bjd_tdb);
    visit("exposure_s", m.exposure_s);
    visit("airmass", m.airmass);
    visit("flux_e", m.flux_e.value);
    visit("flux_err_e", m.flux_e.err);
    visit("zero_point_mag", m.zero_point_mag);
    visit("zero_point_err_mag", m.zero_point_err_mag);
    visit("is_limit", m.is_limit);
    visit("magnitude_mag", m.magnitude_mag);
    visit("random_err_mag", m.random_err_mag);
    visit("common_err_mag", m.common_err_mag);
    visit("limit_mag", m.limit_mag);
    visit.components("common_names", "common_errs_mag", m.common);
    visit("method", m.method);
    visit("transformed", m.transformed);
    visit("n_comparison", m.n_comparison);
    visit.shared("comparison_labels", m.comparison_labels);
    visit("comparison_instrumental_mag", m.comparison_instrumental_mag);
    visit("comparison_catalogue_mag", m.comparison_catalogue_mag);
    visit("colour_mag", m.colour_mag);
    visit("colour_term", m.colour_term);
    visit("colour_index", m.colour_index);
    visit("check_label", m.check.label);
    visit("check_magnitude_mag", m.check.magnitude_mag);
    visit("check_err_mag", m.check.err_mag);
    visit("check_residual_mag", m.check.residual_mag);
    visit("check_instrumental_mag", m.check.instrumental_mag);
    visit("check_catalogue_mag", m.check.catalogue_mag);
    visit("aperture_arcsec", m.aperture_arcsec);
    visit("caveats", m.caveats);
}

// What a table is called, which columns it has, by what its rows are told apart and put in time order.
template <class Row>
struct Table;

template <>
struct Table<FrameMeasurement> {
    static constexpr const char* name = "frame_measurement";
    static constexpr const char* by_time = "jd_utc, position";
    template <class Visitor, class M>
    static void columns(Visitor& visit, M& m) {
        shared_columns(visit, m);
        visit("frame", m.frame);
        visit("plane", m.plane);
        visit("fingerprint", m.fingerprint);
        visit("fwhm_px", m.fwhm_px);
        visit("aperture_px", m.aperture_px);
        visit("used", m.used);
        visit("reason", m.reason);
        visit("relative_transparency", m.relative_transparency);
    }
};

template <>
struct Table<NightMeasurement> {
    static constexpr const char* name = "night_measurement";
    static constexpr const char* by_time = "jd_utc, position";
    template <class Visitor, class M>
    static void columns(Visitor& visit, M& m) {
        shared_columns(visit, m);
        visit("n_frames", m.n_frames);
        visit("n_rejected", m.n_rejected);
        visit("chi2", m.chi2);
    }
};

template <>
struct Table<StarVerdict> {
    static constexpr const char* name = "star_verdict";
    static constexpr const char* by_time = "position";
    template <class Visitor, class M>
    static void columns(Visitor& visit, M& m) {
        visit("instrument", m.instrument);
        visit("band", m.band);
        visit("label", m.label);
        visit("offset_mag", m.offset_mag);
        visit("offset_err_mag", m.offset_err_mag);
        visit("scatter_mag", m.scatter_mag);
        visit("expected_scatter_mag", m.expected_scatter_mag);
        visit("suspect", m.suspect);
        visit("why", m.why);
    }
};

template <class Row>
ColumnNames column_names() {
    ColumnNames names;
    const Row any{};
    Table<Row>::columns(names, any);
    return names;
}

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

bool store_solution(Connection& connection, const Solution& solution, const Provenance& provenance) {
    Transaction transaction(connection, Transaction::Kind::write);
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
