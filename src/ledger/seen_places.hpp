// SPDX-License-Identifier: MIT
// ledger/seen_places — where each frame showed the transient, beside the frame's fluxes. Private to this
// room.
#pragma once

#include <cstdint>

#include "ledger/connection.hpp"
#include "ledger/name_lists.hpp"
#include "photometry/frame_record.hpp"

namespace emberline::ledger {

// Both throw Failure.
class PlaceRecorder {
  public:
    PlaceRecorder(Connection& connection, NameLists& lists);
    void insert(std::int64_t frame_fluxes_id, const photometry::FrameFluxes& frame);

  private:
    NameLists& lists_;
    Statement insert_;
};

class PlaceFinder {
  public:
    PlaceFinder(Connection& connection, NameLists& lists);
    void fill(std::int64_t frame_fluxes_id, photometry::FrameFluxes& frame);

  private:
    NameLists& lists_;
    Statement find_;
};

}  // namespace emberline::ledger
