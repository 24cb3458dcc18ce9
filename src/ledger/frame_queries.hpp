// SPDX-License-Identifier: MIT
// ledger/frame_queries — frames to choose from, without their stars. Private to this room. All throw Failure.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"

namespace emberline::ledger {

[[nodiscard]] std::vector<ListedFrame> list_frames(Connection& connection, std::string_view night);
[[nodiscard]] std::vector<ListedFrame> list_deepest(Connection& connection);

}  // namespace emberline::ledger
