// SPDX-License-Identifier: MIT
// ledger/fluxes — the fluxes of frames, recorded and read again.
// Needs: a ledger prepared by schema.  All throw Failure.
#pragma once

#include <functional>
#include <optional>
#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

[[nodiscard]] std::vector<Recorded> record_fluxes(Connection& connection,
                                                  const std::vector<photometry::FrameFluxes>& frames,
                                                  const Provenance& provenance);
[[nodiscard]] bool has_fluxes(Connection& connection, std::string_view fingerprint, int plane,
                              std::string_view settings);
// Current fluxes by time; of one night where it is named.
void visit_fluxes(Connection& connection, const std::function<bool(const photometry::FrameFluxes&)>& visit,
                  std::optional<std::string_view> night = std::nullopt);
[[nodiscard]] std::vector<photometry::FrameFluxes> all_fluxes(
    Connection& connection, std::optional<std::string_view> night = std::nullopt);

}  // namespace emberline::ledger
