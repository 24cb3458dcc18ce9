// SPDX-License-Identifier: MIT
// quantities/magnitude — flux and magnitude, and how their errors correspond.
#pragma once

#include <cmath>

namespace emberline {
inline namespace quantities {

// d(mag) = (2.5 / ln 10) d(flux)/flux, to first order: within 1 % of itself below 0.02 mag.
inline constexpr double mag_per_relative_flux = 1.0857362047581296;

// Pogson (1856), MNRAS 17, 12: five magnitudes are a factor of 100.
[[nodiscard]] inline double magnitude_difference(double flux, double reference_flux) {
    return -2.5 * std::log10(flux / reference_flux);
}
[[nodiscard]] inline double flux_ratio(double magnitude_difference_mag) {
    return std::pow(10.0, -0.4 * magnitude_difference_mag);
}

// A flux and one sigma of it, in electrons (or in whatever unit its holder says). May be negative.
struct Flux {
    double value = 0.0;
    double err = 0.0;
    [[nodiscard]] double signal_to_noise() const { return err > 0.0 ? value / err : 0.0; }
    bool operator==(const Flux&) const = default;
};

}  // namespace quantities
}  // namespace emberline
