// SPDX-License-Identifier: MIT
// lightcurve/extinction — how much dust dims each band.
#pragma once

#include <optional>
#include <string>

#include "quantities/band.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::lightcurve {

enum class ExtinctionLaw { ccm89, odonnell94, fitzpatrick99 };

// A(λ)/A(V). Cardelli, Clayton & Mathis 1989, ApJ 345, 245; O'Donnell 1994, ApJ 422, 158 (optical; CCM89
// beyond); Fitzpatrick 1999, PASP 111, 63 (R_V 3.1). Nothing outside 0.3 to 3.3 µm.
[[nodiscard]] std::optional<double> extinction_ratio(ExtinctionLaw law, double wavelength_um,
                                                     double r_v = 3.1);

struct BandExtinction {
    double mag_per_ebv = 0.0;
    std::string source;  // "Schlafly & Finkbeiner 2011, Landolt V", or the law where no table has the band
};
// From data/extinction.csv; else by Fitzpatrick's law at the band's wavelength. Nothing for an unfiltered
// band.
[[nodiscard]] std::optional<BandExtinction> band_extinction(const Band& band);

}  // namespace emberline::lightcurve
