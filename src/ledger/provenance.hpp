// SPDX-License-Identifier: MIT
// ledger/provenance — by which software, settings and campaign file a row came about.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

[[nodiscard]] std::string now_utc();  // "2026-03-01T21:04:05Z"

// The row of that provenance, made where it is new. Within a transaction.
[[nodiscard]] std::int64_t provenance_id(Connection& connection, const Provenance& provenance);
// Of the fluxes recorded last.
[[nodiscard]] std::optional<Provenance> last_flux_provenance(Connection& connection);

}  // namespace emberline::ledger
