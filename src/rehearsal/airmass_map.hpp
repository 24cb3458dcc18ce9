// SPDX-License-Identifier: MIT
// rehearsal/airmass_map — the airmass anywhere on a frame from three exact altitudes. Private to this room.
#pragma once

#include <optional>

#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"
#include "sky/site.hpp"

namespace emberline::rehearsal {

// The sine of the altitude is the scalar product of a star's direction with the zenith's: three altitudes
// about the frame give the zenith. Within 1e-6 of sky::airmass across a degree; a hundred stars cost as
// much as three.
class AirmassMap {
  public:
    AirmassMap(const SkyPosition& middle, const Instant& instant, const sky::Site& site);
    [[nodiscard]] std::optional<double> at(const SkyPosition& star) const;  // absent below the horizon

  private:
    SkyPosition middle_;
    double towards_middle_, towards_east_, towards_north_;  // of the zenith's direction
};

}  // namespace emberline::rehearsal
