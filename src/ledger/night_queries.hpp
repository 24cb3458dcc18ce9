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

// Since version 6: one night is found, and the nights are counted, without reading the others. (The last
// column is there so that the index holds all that the counting asks for.)
inline constexpr const char* night_indexes = R"sql(
CREATE INDEX current_frame_of_night ON frame_fluxes (night, mid_jd_day + mid_jd_fraction)
    WHERE superseded_by IS NULL;
CREATE INDEX current_frame_measurement_of_night ON frame_measurement (night, band, used, last_solution)
    WHERE last_solution IS NULL;
CREATE INDEX current_night_measurement_of_night ON night_measurement (night) WHERE last_solution IS NULL;
)sql";

[[nodiscard]] std::vector<NightCount> count_nights(Connection& connection);
[[nodiscard]] std::optional<std::string> last_night(Connection& connection);
[[nodiscard]] std::vector<photometry::FrameFluxes> fluxes_of_night(Connection& connection,
                                                                   std::string_view night);
[[nodiscard]] Solution solution_of_night(Connection& connection, std::string_view night);
[[nodiscard]] std::optional<std::string> night_of_file(Connection& connection, std::string_view fingerprint);
[[nodiscard]] std::vector<night::NightMeasurement> all_nights(Connection& connection);
[[nodiscard]] std::vector<StarVerdict> all_verdicts(Connection& connection);

}  // namespace emberline::ledger
