// SPDX-License-Identifier: MIT
// lightcurve/extinction — how much dust dims each band.
#pragma once

#include <optional>
#include <string>

#include "quantities/band.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::lightcurve {

enum class ExtinctionLaw { ccm89, odonnell94, fitzpatrick99 };

// A(λ)/A(V). Cardelli, Clayton & Mathis 1989, ApJ 345, 245; O'Donnell 1994, ApJ 422, 158 (optical; the former
// beyond 0.909 µm); Fitzpatrick 1999, PASP 111, 63, for whom A(V) is R_V E(B−V), so that his ratio is not
// quite 1 at 0.55 µm. Nothing outside 1/λ from 0.3 to 3.3 µm⁻¹, or for R_V outside 2 to 6.
[[nodiscard]] std::optional<double> extinction_ratio(ExtinctionLaw law, double wavelength_um,
                                                     double r_v = 3.1);

struct BandExtinction {
    double mag_per_ebv = 0.0;  // E(B−V) on the scale of the map of Schlegel, Finkbeiner & Davis 1998
    std::string source;        // "Schlafly & Finkbeiner 2011, Landolt V", or the law where no table has it
};
// From data/extinction.csv, by the band that a band is calibrated on; else Fitzpatrick's law at the band's
// wavelength, scaled to the table's V. Nothing for an empty band.
[[nodiscard]] std::optional<BandExtinction> band_extinction(const Band& band);

}  // namespace emberline::lightcurve
