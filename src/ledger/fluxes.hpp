// SPDX-License-Identifier: MIT
// ledger/fluxes — the fluxes of frames, recorded and read again.
// Needs: a ledger prepared by schema.  All throw Failure.
#pragma once

#include <functional>
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
void visit_fluxes(Connection& connection, const std::function<bool(const photometry::FrameFluxes&)>& visit);

}  // namespace emberline::ledger
