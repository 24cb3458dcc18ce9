// SPDX-License-Identifier: MIT
// photometry/noise — the variance of an aperture flux, in electrons (Merline & Howell 1995, Exp. Astron. 6,
// 163, extended): Var(F) = max(F̂,0) + H + n s² + c n² s²/n_sky + (σ_sc F̂)² + (σ_flat F̂)² + (σ_place F̂)².
#pragma once

#include <optional>

namespace emberline::photometry {

// What does not depend on the star's own light, and what scales with it: enough to give the variance for any
// expected flux F̂ later, when the night's model knows it better than the frame does.
struct NoiseTerms {
    double background_e2 = 0.0;  // H + n s² + c n² s²/n_sky
    double fractional = 0.0;     // sqrt(σ_sc² + σ_flat² + σ_place²), of the flux
    // Of the star's own photons: 1 in an aperture, more in a fit of equal weights.
    double photon_factor = 1.0;
    [[nodiscard]] double variance_e2(double expected_flux_e) const {
        const double f = expected_flux_e > 0.0 ? expected_flux_e : 0.0;
        return photon_factor * f + background_e2 + fractional * fractional * f * f;
    }
    bool operator==(const NoiseTerms&) const = default;
};

struct BackgroundNoise {
    double area_px = 0.0;                  // n
    double sky_scatter_e = 0.0;            // s
    double sky_pixels = 0.0;               // n_sky
    double sky_factor = 1.0;               // c
    double host_e = 0.0;                   // H, electrons in the aperture above sky
    std::optional<double> square_area_px;  // Σ w² of the pixels' shares w, for n s²; absent: n, all whole
};
// Σ w² of a circle of that area: a pixel that counts by a share w brings w² of its variance, not w. Along an
// edge ∫ w (1 − w) is 1/6 a pixel's length where it runs along rows, and hardly less elsewhere: n − κ 2 √(π
// n) with κ = 0.165, the mean over directions. Below a radius of a pixel it is a rough guide.
[[nodiscard]] double square_area_px(double area_px);
[[nodiscard]] double background_variance_e2(const BackgroundNoise& b);

// Osborn et al. 2015 (MNRAS 452, 1707): σ² = 1e-5 C_Y² D^(−4/3) t^(−1) X³ exp(−2h/8000 m); relative.
[[nodiscard]] double scintillation(double aperture_m, double exposure_s, double airmass, double elevation_m,
                                   double c_y = 1.5);
// Young 1967 as given by Dravins et al. 1998 (PASP 110, 610), for comparison: relative.
[[nodiscard]] double scintillation_young(double aperture_m, double exposure_s, double airmass,
                                         double elevation_m);

// The full CCD equation from a sky level (for planning and for the handbook's examples).
struct CcdExample {
    double star_e, area_px;
    std::optional<double> sky_pixels;  // absent: the sky is known exactly
    double sky_e_per_px, dark_e_per_px, read_noise_e, gain_e_per_adu, digitisation_adu;
};
[[nodiscard]] double signal_to_noise(const CcdExample& e);

// F_k = [k² + k sqrt(k² + 4B)]/2: the flux whose signal-to-noise is k over a background variance B.
[[nodiscard]] double flux_at_signal_to_noise(double k, double background_variance_e2);

}  // namespace emberline::photometry
