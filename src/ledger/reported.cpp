// SPDX-License-Identifier: MIT
#include "ledger/reported.hpp"

#include "ledger/provenance.hpp"

namespace emberline::ledger {

void add_reported(Connection& connection, const std::vector<ReportedLine>& lines) {
    if (lines.empty()) return;
    Transaction transaction(connection, Transaction::Kind::write);
    Statement insert(connection,
                     "INSERT INTO reported (format, subject, content, file, since) VALUES (?, ?, ?, ?, ?)");
    const std::string time = now_utc();
    for (const ReportedLine& line : lines) {
        insert.bind_text(0, line.format);
        insert.bind_text(1, line.subject);
        insert.bind_text(2, line.content);
        insert.bind_text(3, line.file);
        insert.bind_text(4, time);
        insert.run();
    }
    transaction.commit();
}

std::vector<ReportedLine> newest_reported(Connection& connection, std::string_view format) {
    Statement find(connection,
                   "SELECT format, subject, content, file, since FROM reported WHERE id IN "
                   "(SELECT max(id) FROM reported WHERE format = ? GROUP BY subject) ORDER BY subject");
    find.bind_text(0, format);
    std::vector<ReportedLine> lines;
    while (find.step()) {
        lines.push_back({.format = find.text(0),
                         .subject = find.text(1),
                         .content = find.text(2),
                         .file = find.text(3),
                         .since = find.text(4)});
    }
    return lines;
}

}  // namespace emberline::ledger
