// SPDX-License-Identifier: MIT
// standard/star_neighbours — how much light the stars around one add to its aperture.
#pragma once

#include <span>
#include <vector>

#include "quantities/sky_position.hpp"

namespace emberline::standard {

struct Neighbour {
    SkyPosition position;
    double magnitude_mag = 0.0;  // any band that is near the stars' own
};

// The share of a star's light that falls into the aperture of another at that distance. Nearer than the
// isolation radius R all of it: in bad seeing it is in the aperture, and before that it draws the centroid.
// Further out the wing of a Moffat profile (its normalisation: Trujillo et al. 2001, MNRAS 328, 977) with
// β = 2.5 and FWHM R/4 through a circle of radius R/2, which falls as d⁻⁵: from 0.7 % at R.
[[nodiscard]] double share_of_light(double distance_arcsec, double isolation_arcsec);

class StarNeighbours {
  public:
    // Those whose place or magnitude is no number are left out.
    explicit StarNeighbours(std::span<const Neighbour> all);
    // By how much the star looks too bright, in thousandths of a magnitude. What lies within half an
    // arcsecond is the star itself; several of them: the one nearest to it in magnitude.
    [[nodiscard]] double added_mmag(const Neighbour& star, double isolation_arcsec) const;

  private:
    std::vector<Neighbour> by_dec_;
};

}  // namespace emberline::standard
