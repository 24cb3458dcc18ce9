// SPDX-License-Identifier: MIT
// lightcurve/luminosity — distance, absolute magnitude, and what the shape of a type Ia's light curve hints
// about both. Hints: for one object they are no better than their scatter.
#pragma once

#include <optional>
#include <string>

#include "lightcurve/figures.hpp"
#include "quantities/band.hpp"

namespace emberline::lightcurve {

// μ = 5 log10(d / 10 pc); errors to first order (5 / ln 10 · σ_d / d: 5 % of distance are 0.11 mag). A
// distance that is not above zero has no modulus: not a number comes back.
[[nodiscard]] double distance_modulus_mag(double distance_mpc);
[[nodiscard]] ValueWithError distance_modulus_mag(const ValueWithError& distance_mpc);
[[nodiscard]] double distance_mpc(double distance_modulus_mag);
[[nodiscard]] ValueWithError distance_mpc(const ValueWithError& distance_modulus_mag);

// How far the map of dust is right, as a share of the reddening (Schlegel, Finkbeiner & Davis 1998; from
// memory).
inline constexpr double reddening_relative_err = 0.16;

// M = m − μ − A, A of the dust in front of the host galaxy. The errors in quadrature, that of the reddening
// with them.
struct AbsoluteMagnitude {
    ValueWithError mag;
    double extinction_mag = 0.0;
    std::string note;  // what was taken off and what was not: "the host's own dust is not corrected for"
};
// Nothing for a reddening below zero, an empty band, or numbers that are none.
[[nodiscard]] std::optional<AbsoluteMagnitude> absolute_magnitude(const Band& band,
                                                                  const ValueWithError& apparent_mag,
                                                                  const ValueWithError& distance_modulus_mag,
                                                                  double ebv_mag);

// Phillips et al. 1999, AJ 118, 1766: how much fainter at maximum than a type Ia of Δm15(B) = 1.1. Nothing
// for a band that they do not give (B, V, Ic; or a band calibrated on one of them).
struct StretchHint {
    std::optional<ValueWithError> fainter_mag;  // absent: Δm15 outside their range; `sentence` says so
    std::string sentence;  // the value, where its error comes from, and that it is an indication only
};
[[nodiscard]] std::optional<StretchHint> stretch_hint(const Band& band, const Figure& delta_m15_b);

}  // namespace emberline::lightcurve
