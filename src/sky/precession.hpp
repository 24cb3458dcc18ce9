// SPDX-License-Identifier: MIT
// sky/precession — positions that were written for the equinox of their date, in today's frame.
// Source: ERFA's eraPmat06, IAU 2006 precession with the frame bias.
#pragma once

#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::sky {

// ICRS, of a mean place of that date: no nutation (9 arcseconds), no aberration (21 arcseconds).
[[nodiscard]] SkyPosition from_equinox_of_date(const SkyPosition& mean_place, const Instant& date);

}  // namespace emberline::sky
