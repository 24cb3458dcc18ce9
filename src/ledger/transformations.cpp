// SPDX-License-Identifier: MIT
#include "ledger/transformations.hpp"

#include <algorithm>
#include <map>
#include <string>
#include <tuple>

#include "ledger/provenance.hpp"

namespace emberline::ledger {
namespace {

Band parse_stored_band(const Connection& connection, const std::string& name) {
    auto band = parse_band(name);
    if (!band) connection.raise_damaged("a colour term of an unknown band");
    return *band;
}

std::vector<KeptTransformation> read(Connection& connection, Statement& find) {
    std::vector<KeptTransformation> terms;
    while (find.step()) {
        KeptTransformation term{.instrument = find.text(0),
                                .band = parse_stored_band(connection, find.text(1)),
                                .colour_index = find.text(2),
                                .colour_term = {find.number(3), find.number(4)},
                                .colour_low_mag = find.number(7),
                                .colour_high_mag = find.number(8),
                                .scatter_mag = find.number(9),
                                .stars = static_cast<int>(find.integer(10)),
                                .frames = static_cast<int>(find.integer(11)),
                                .night = find.text(12),
                                .against = find.text(13),
                                .since = find.text(14)};
        if (!find.is_null(5)) term.extinction = ValueWithError{find.number(5), find.number(6)};
        terms.push_back(std::move(term));
    }
    return terms;
}

constexpr const char* transformation_columns =
    "instrument, band, colour_index, colour_term, colour_term_err, extinction, extinction_err, "
    "colour_low_mag, colour_high_mag, scatter_mag, stars, frames, night, against, since";

}  // namespace

void add_transformations(Connection& connection, const std::vector<KeptTransformation>& terms) {
    Transaction transaction(connection, Transaction::Kind::write);
    const auto newest = newest_transformations(connection);
    Statement insert(connection, std::string("INSERT INTO transformation (") + transformation_columns +
                                     ") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    const std::string time = now_utc();
    bool any = false;
    for (KeptTransformation term : terms) {
        const bool known = std::any_of(newest.begin(), newest.end(), [&](const KeptTransformation& n) {
            term.since = n.since;
            return term == n;
        });
        if (known) continue;
        insert.bind_text(0, term.instrument);
        insert.bind_text(1, term.band.name());
        insert.bind_text(2, term.colour_index);
        insert.bind(3, term.colour_term.value);
        insert.bind(4, term.colour_term.err);
        if (term.extinction) {
            insert.bind(5, term.extinction->value);
            insert.bind(6, term.extinction->err);
        } else {
            insert.bind_null(5);
            insert.bind_null(6);
        }
        insert.bind(7, term.colour_low_mag);
        insert.bind(8, term.colour_high_mag);
        insert.bind(9, term.scatter_mag);
        insert.bind(10, std::int64_t{term.stars});
        insert.bind(11, std::int64_t{term.frames});
        insert.bind_text(12, term.night);
        insert.bind_text(13, term.against);
        insert.bind_text(14, time);
        insert.run();
        any = true;
    }
    if (any) transaction.commit();
}

std::vector<KeptTransformation> newest_transformations(Connection& connection) {
    Statement find(connection, std::string("SELECT ") + transformation_columns +
                                   " FROM transformation WHERE id IN (SELECT max(id) FROM transformation "
                                   "GROUP BY instrument, band, colour_index) ORDER BY id");
    return read(connection, find);
}

std::vector<KeptTransformation> all_transformations(Connection& connection) {
    Statement find(connection,
                   std::string("SELECT ") + transformation_columns + " FROM transformation ORDER BY id");
    return read(connection, find);
}

}  // namespace emberline::ledger
