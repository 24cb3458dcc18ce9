// SPDX-License-Identifier: MIT
// rehearsal/night_times — when in a night a star is followed. Private to this room.
#pragma once

#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"
#include "sky/site.hpp"

namespace emberline::rehearsal {

inline constexpr double dark_sun_deg = -12.0;  // end of nautical twilight
inline constexpr double most_airmass = 2.2;

// The start of a run of `duration_s` in the 24 hours from `noon`: the Sun below −12 degrees and the airmass
// below 2.2 from first to last where the night allows, else as nearly so as it does; the airmass in the
// middle as near to `wanted_airmass` as can be, rather in the evening.
[[nodiscard]] Instant start_of_run(const Instant& noon, double duration_s, double wanted_airmass,
                                   const SkyPosition& star, const sky::Site& site);

}  // namespace emberline::rehearsal
