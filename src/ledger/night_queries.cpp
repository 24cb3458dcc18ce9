// SPDX-License-Identifier: MIT
#include "ledger/night_queries.hpp"

#include "ledger/solution_rows.hpp"

namespace emberline::ledger {
namespace {

constexpr const char* of_night = " AND night = ?";

}  // namespace

std::vector<NightCount> count_nights(Connection& connection) {
    Statement rows(connection,
                   "SELECT night, band, count(*), sum(used) FROM frame_measurement "
                   "WHERE last_solution IS NULL GROUP BY night, band ORDER BY night, band");
    std::vector<NightCount> nights;
    while (rows.step()) {
        const auto band = parse_band(rows.text(1));
        if (!band) connection.raise_damaged("a frame's band is none");
        if (nights.empty() || nights.back().night != rows.text(0))
            nights.push_back({.night = rows.text(0), .bands = {}});
        NightCount& night = nights.back();
        night.bands.push_back(*band);
        night.frames += static_cast<std::size_t>(rows.integer(2));
        night.used += static_cast<std::size_t>(rows.integer(3));
    }
    return nights;
}

std::optional<std::string> last_night(Connection& connection) {
    Statement row(connection, "SELECT max(night) FROM frame_measurement WHERE last_solution IS NULL");
    if (!row.step() || row.is_null(0)) return std::nullopt;
    return row.text(0);
}

Solution solution_of_night(Connection& connection, std::string_view night) {
    // One state of the ledger for all three tables.
    Transaction transaction(connection, Transaction::Kind::read);
    NameLists lists(connection);
    return {.frames = newest_rows<FrameMeasurement>(connection, lists, of_night, night),
            .nights = newest_rows<NightMeasurement>(connection, lists, of_night, night),
            .stars = newest_rows<StarVerdict>(connection, lists)};
}

std::optional<std::string> night_of_file(Connection& connection, std::string_view fingerprint) {
    Statement row(connection,
                  "SELECT night FROM frame_fluxes WHERE fingerprint = ? AND superseded_by IS NULL LIMIT 1");
    row.bind_text(0, fingerprint);
    if (!row.step()) return std::nullopt;
    return row.text(0);
}

std::vector<night::NightMeasurement> all_nights(Connection& connection) {
    NameLists lists(connection);
    return newest_rows<NightMeasurement>(connection, lists);
}

std::vector<StarVerdict> all_verdicts(Connection& connection) {
    NameLists lists(connection);
    return newest_rows<StarVerdict>(connection, lists);
}

}  // namespace emberline::ledger
