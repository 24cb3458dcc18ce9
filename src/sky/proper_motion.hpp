// SPDX-License-Identifier: MIT
// sky/proper_motion — where a catalogue's star is at another time, and old positions in today's frame.
// Sources: ERFA's eraPmsafe, eraFk45z, eraFk425 and eraFk5hz (the IAU's SOFA); Hipparcos catalogue, volume 1,
// section 1.5.5; Standish (1982), A&A 115, 20 and Aoki et al. (1983), A&A 128, 263 for FK4.
#pragma once

#include <optional>

#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::sky {

struct Motion {
    double ra_mas_per_year = 0.0;  // μ_α cos δ, as catalogues give it
    double dec_mas_per_year = 0.0;
    double parallax_mas = 0.0;  // not above 0: so far away that the path is straight
    double radial_velocity_km_per_s = 0.0;
};

// Ten times Barnard's star, which no star outruns: more is another unit.
inline constexpr double most_motion_mas_per_year = 100'000.0;

// ICRS; Julian years, TDB. Barycentric: parallax only bends the path in the long run.
// Problem: numbers that are no motion (not finite, faster than light, more than most_motion_mas_per_year),
// epochs more than 10 000 years from 2000.
[[nodiscard]] Result<SkyPosition> moved(const SkyPosition& position, const Motion& motion,
                                        double from_epoch_jyear, double to_epoch_jyear);

[[nodiscard]] double epoch_jyear_of(double jd);
[[nodiscard]] double epoch_jyear_of_besselian(double epoch_byear);

// FK4/B1950 tables still go round. The place at `epoch_byear`, the Besselian epoch of the table, in ICRS; the
// star is taken to stand still among the stars, not in FK4, which turns by 1.3″ a century.
[[nodiscard]] SkyPosition from_fk4(const SkyPosition& b1950, double epoch_byear = 1950.0);
// The same star's motion in ICRS axes.
[[nodiscard]] Motion motion_from_fk4(const SkyPosition& b1950, const Motion& motion);

}  // namespace emberline::sky
