// SPDX-License-Identifier: MIT
// lightcurve/luminosity — distance, absolute magnitude, and what the shape of a type Ia's light curve hints
// about both. Hints: for one object they are no better than their scatter.
#pragma once

#include <optional>
#include <string>

#include "lightcurve/figures.hpp"
#include "quantities/band.hpp"

namespace emberline::lightcurve {

[[nodiscard]] double distance_modulus_mag(double distance_mpc);
[[nodiscard]] ValueWithError distance_modulus_mag(const ValueWithError& distance_mpc);
[[nodiscard]] double distance_mpc(double distance_modulus_mag);
[[nodiscard]] ValueWithError distance_mpc(const ValueWithError& distance_modulus_mag);

// M = m − μ − A. The errors in quadrature; that of the reddening is taken as 16 % of it (Schlegel, Finkbeiner
// & Davis 1998).
struct AbsoluteMagnitude {
    ValueWithError mag;
    double extinction_mag = 0.0;
    std::string note;  // what was not taken off: "the host's own dust is not corrected for"
};
[[nodiscard]] std::optional<AbsoluteMagnitude> absolute_magnitude(const Band& band,
                                                                  const ValueWithError& apparent_mag,
                                                                  const ValueWithError& distance_modulus_mag,
                                                                  double ebv_mag);

// Phillips et al. 1999, AJ 118, 1766: how much fainter than a type Ia of Δm15(B) = 1.1. Nothing outside
// their range 0.85 to 1.70, or for a band that they do not give.
struct StretchHint {
    ValueWithError fainter_mag;  // errors of Δm15, of the relation's coefficients and its scatter
    std::string sentence;
};
[[nodiscard]] std::optional<StretchHint> stretch_hint(const Band& band, const Figure& delta_m15_b);

}  // namespace emberline::lightcurve
