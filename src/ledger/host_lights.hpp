// SPDX-License-Identifier: MIT
// ledger/host_lights — the transient's surroundings and what a frame alone says of its host, beside the
// frame's fluxes. Private to this room.
#pragma once

#include <cstdint>

#include "ledger/connection.hpp"
#include "ledger/name_lists.hpp"
#include "photometry/frame_record.hpp"

namespace emberline::ledger {

// Both throw Failure.
class HostRecorder {
  public:
    HostRecorder(Connection& connection, NameLists& lists);
    void insert(std::int64_t frame_fluxes_id, const photometry::FrameFluxes& frame);

  private:
    NameLists& lists_;
    Statement insert_surroundings_, insert_light_;
};

class HostFinder {
  public:
    HostFinder(Connection& connection, NameLists& lists);
    void fill(std::int64_t frame_fluxes_id, photometry::FrameFluxes& frame);

  private:
    NameLists& lists_;
    Statement surroundings_, lights_;
};

}  // namespace emberline::ledger
