// SPDX-License-Identifier: MIT
// ledger/solutions — what each solving of the campaign gave. A row that the next solution leaves as it was
// is not written again: it stays valid, so that the ledger grows with what changes.
// All throw Failure.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

// False, and nothing written, where the solution holds the same rows as the newest. Nothing, where the
// connection's data_version is no longer `if_still`.
[[nodiscard]] std::optional<bool> store_solution(Connection& connection, const Solution& solution,
                                                 const Provenance& provenance,
                                                 std::optional<std::int64_t> if_still = std::nullopt);
[[nodiscard]] std::int64_t newest_solution_number(Connection& connection);  // 0: none yet
// The rows of a solution, numbered from 1; the newest in the order in which it was stored.
[[nodiscard]] Solution solution_number(Connection& connection, std::int64_t number);
void visit_frame_measurements(Connection& connection,
                              const std::function<bool(const night::FrameMeasurement&)>& visit);
void visit_night_measurements(Connection& connection,
                              const std::function<bool(const night::NightMeasurement&)>& visit);

}  // namespace emberline::ledger
