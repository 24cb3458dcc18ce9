// SPDX-License-Identifier: MIT
#include "ledger/exclusions.hpp"

#include "ledger/provenance.hpp"

namespace emberline::ledger {
namespace {

std::string_view word(SetAside kind) {
    switch (kind) {
        case SetAside::frame:
            return "frame";
        case SetAside::night:
            return "night";
        case SetAside::star:
            break;
    }
    return "star";
}

SetAside parse_kind(const Connection& connection, const std::string& stored) {
    for (const SetAside kind : {SetAside::frame, SetAside::night, SetAside::star}) {
        if (word(kind) == stored) return kind;
    }
    connection.raise_damaged("an exclusion of an unknown kind");
}

bool end_current(Connection& connection, SetAside kind, std::string_view key, const std::string& time) {
    Statement end(connection,
                  "UPDATE exclusion SET ended_at = ? WHERE kind = ? AND key = ? AND ended_at IS NULL");
    end.bind_text(0, time);
    end.bind_text(1, word(kind));
    end.bind_text(2, key);
    end.run();
    return connection.changed_rows() > 0;
}

}  // namespace

void begin_exclusion(Connection& connection, SetAside kind, std::string_view key, std::string_view reason) {
    if (key.empty()) {
        throw Failure{{.what = "Nothing was named to be set aside.",
                       .where = connection.path(),
                       .mend = "Name a frame, a night or a star.",
                       .kind = ProblemKind::request}};
    }
    Transaction transaction(connection, Transaction::Kind::write);
    {
        Statement same(
            connection,
            "SELECT 1 FROM exclusion WHERE kind = ? AND key = ? AND reason = ? AND ended_at IS NULL");
        same.bind_text(0, word(kind));
        same.bind_text(1, key);
        same.bind_text(2, reason);
        if (same.step()) return;
    }
    const std::string time = now_utc();
    end_current(connection, kind, key, time);  // another reason from now on
    Statement begin(connection, "INSERT INTO exclusion (kind, key, reason, since) VALUES (?, ?, ?, ?)");
    begin.bind_text(0, word(kind));
    begin.bind_text(1, key);
    begin.bind_text(2, reason);
    begin.bind_text(3, time);
    begin.run();
    transaction.commit();
}

bool end_exclusion(Connection& connection, SetAside kind, std::string_view key) {
    Transaction transaction(connection, Transaction::Kind::write);
    const bool ended = end_current(connection, kind, key, now_utc());
    transaction.commit();
    return ended;
}

std::vector<Exclusion> current_exclusions(Connection& connection) {
    Statement rows(connection,
                   "SELECT kind, key, reason, since FROM exclusion WHERE ended_at IS NULL ORDER BY id");
    std::vector<Exclusion> exclusions;
    while (rows.step())
        exclusions.push_back(
            {parse_kind(connection, rows.text(0)), rows.text(1), rows.text(2), rows.text(3)});
    return exclusions;
}

}  // namespace emberline::ledger
