// SPDX-License-Identifier: MIT
// sky/proper_motion — where a catalogue's star is at another time.
// Source: ERFA's eraPmsafe (SOFA); Hipparcos catalogue, volume 1, section 1.5.5.
#pragma once

#include <optional>

#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::sky {

struct Motion {
    double ra_mas_per_year = 0.0;  // μ_α cos δ, as catalogues give it
    double dec_mas_per_year = 0.0;
    double parallax_mas = 0.0;
    double radial_velocity_km_per_s = 0.0;
};

// ICRS; Julian years, TDB. Barycentric: parallax only bends the path in the long run.
// Problem: numbers that are no motion (not finite, faster than light).
[[nodiscard]] Result<SkyPosition> moved(const SkyPosition& position, const Motion& motion,
                                        double from_epoch_jyear, double to_epoch_jyear);

[[nodiscard]] double epoch_jyear_of(double jd);

// From an equinox that is not J2000: FK4/B1950 tables still go round. Problem: another system.
[[nodiscard]] SkyPosition from_fk4(const SkyPosition& b1950);

}  // namespace emberline::sky
