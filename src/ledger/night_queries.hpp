// SPDX-License-Identifier: MIT
// ledger/night_queries — one night of the newest solution, found by its index: what a page asks while others
// measure. Private to this room. All throw Failure.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

[[nodiscard]] std::vector<NightCount> count_nights(Connection& connection);
[[nodiscard]] std::optional<std::string> last_night(Connection& connection);
[[nodiscard]] Solution solution_of_night(Connection& connection, std::string_view night);
[[nodiscard]] std::optional<std::string> night_of_file(Connection& connection, std::string_view fingerprint);
[[nodiscard]] std::vector<night::NightMeasurement> all_nights(Connection& connection);
[[nodiscard]] std::vector<StarVerdict> all_verdicts(Connection& connection);

}  // namespace emberline::ledger
