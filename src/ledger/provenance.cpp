// SPDX-License-Identifier: MIT
#include "ledger/provenance.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <chrono>

namespace emberline::ledger {

std::string now_utc() {
    const auto now = std::chrono::system_clock::now();
    return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(std::chrono::system_clock::to_time_t(now)));
}

std::int64_t provenance_id(Connection& connection, const Provenance& provenance) {
    Statement find(connection,
                   "SELECT id FROM provenance WHERE settings = ? AND software = ? AND campaign = ?");
    find.bind_text(0, provenance.settings);
    find.bind_text(1, provenance.software);
    find.bind_text(2, provenance.campaign);
    if (find.step()) return find.integer(0);
    Statement insert(connection,
                     "INSERT INTO provenance (settings, software, campaign, since) VALUES (?, ?, ?, ?)");
    insert.bind_text(0, provenance.settings);
    insert.bind_text(1, provenance.software);
    insert.bind_text(2, provenance.campaign);
    insert.bind_text(3, now_utc());
    insert.run();
    return connection.last_id();
}

std::optional<Provenance> last_flux_provenance(Connection& connection) {
    Statement find(connection,
                   "SELECT software, settings, campaign FROM provenance WHERE id = "
                   "(SELECT provenance_id FROM frame_fluxes ORDER BY id DESC LIMIT 1)");
    if (!find.step()) return std::nullopt;
    return Provenance{find.text(0), find.text(1), find.text(2)};
}

}  // namespace emberline::ledger
