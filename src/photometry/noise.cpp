// SPDX-License-Identifier: MIT
// Notation: n aperture area in pixels, s scatter of a sky pixel, n_sky pixels of the sky estimate, c its
// factor, H host light, k signal-to-noise, B background variance; electrons throughout.
#include "photometry/noise.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace emberline::photometry {

namespace {
constexpr double scale_height_m = 8000.0;  // of the turbulence, in both scintillation formulas
}

double background_variance_e2(const BackgroundNoise& b) {
    const double host_e = b.host_e > 0.0 ? b.host_e : 0.0;
    const double pixel_e2 = b.sky_scatter_e * b.sky_scatter_e;
    if (pixel_e2 * b.area_px == 0.0) return host_e;
    // A sky estimated from no pixel is not known at all.
    if (!(b.sky_pixels > 0.0)) return std::numeric_limits<double>::infinity();
    return host_e + pixel_e2 * (b.square_area_px.value_or(b.area_px) +
                                b.sky_factor * b.area_px * b.area_px / b.sky_pixels);
}

double square_area_px(double area_px) {
    constexpr double share_lost = 0.165, least_share = 0.4;
    const double edge_px = 2.0 * std::sqrt(std::numbers::pi * area_px);
    return std::max(area_px - share_lost * edge_px, least_share * area_px);
}

double scintillation(double aperture_m, double exposure_s, double airmass, double elevation_m, double c_y) {
    return std::sqrt(1e-5 / exposure_s) * c_y * std::pow(aperture_m, -2.0 / 3.0) * std::pow(airmass, 1.5) *
           std::exp(-elevation_m / scale_height_m);
}

double scintillation_young(double aperture_m, double exposure_s, double airmass, double elevation_m) {
    const double aperture_cm = 100.0 * aperture_m;
    return 0.09 * std::pow(aperture_cm, -2.0 / 3.0) * std::pow(airmass, 1.75) *
           std::exp(-elevation_m / scale_height_m) / std::sqrt(2.0 * exposure_s);
}

double signal_to_noise(const CcdExample& e) {
    const double digitisation_e = e.gain_e_per_adu * e.digitisation_adu;
    const double pixel_e2 =
        e.sky_e_per_px + e.dark_e_per_px + e.read_noise_e * e.read_noise_e + digitisation_e * digitisation_e;
    const double background_e2 = background_variance_e2(
        {.area_px = e.area_px,
         .sky_scatter_e = std::sqrt(pixel_e2),
         .sky_pixels = e.sky_pixels.value_or(std::numeric_limits<double>::infinity())});
    const double variance_e2 = NoiseTerms{.background_e2 = background_e2}.variance_e2(e.star_e);
    return variance_e2 == 0.0 ? 0.0 : e.star_e / std::sqrt(variance_e2);
}

double flux_at_signal_to_noise(double k, double background_variance_e2) {
    return 0.5 * k * (k + std::sqrt(k * k + 4.0 * background_variance_e2));
}

}  // namespace emberline::photometry
