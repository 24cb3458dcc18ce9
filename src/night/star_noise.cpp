// SPDX-License-Identifier: MIT
#include "night/star_noise.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace emberline::night {
namespace {

using photometry::FrameAperture;
using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr double whole_area = 0.999;  // of an aperture on the frame

}  // namespace

photometry::NoiseTerms noise_terms(const FrameFluxes& frame, const StarFlux& star, std::size_t aperture) {
    // A sky clipped at black shows no scatter at all, and without any an empty frame would weigh infinitely;
    // rounding to whole numbers alone leaves 1/sqrt(12) of a step (Sheppard 1898).
    const double scatter_e =
        star.sky_scatter_e > 0.0 ? star.sky_scatter_e : frame.gain_e_per_adu / std::sqrt(12.0);
    const double area_px = star.area_px[aperture];
    const FrameAperture& kind = frame.apertures[aperture];
    photometry::BackgroundNoise background{
        area_px,         scatter_e, star.sky_pixels,
        star.sky_factor, 0.0,       kind.is_psf() ? area_px : photometry::square_area_px(area_px)};
    *background.square_area_px *= kind.sky_noise_factor * kind.sky_noise_factor;
    double more_e2 = 0.0;
    if (star.host) {
        // The level of the sky is part of what the method fitted, and of its own variance.
        background.sky_pixels = std::numeric_limits<double>::infinity();
        background.host_e = std::max(star.host->host_e[aperture], 0.0);
        more_e2 = star.host->variance_e2[aperture];
    }
    return {photometry::background_variance_e2(background) + more_e2,
            std::hypot(frame.scintillation, frame.flat_err, place_err(star, aperture)),
            kind.psf_photon_factor.value_or(1.0)};
}

double place_err(const StarFlux& star, std::size_t aperture) {
    return aperture < star.place_err.size() ? star.place_err[aperture] : 0.0;
}

bool light_lost(const FrameFluxes& frame, const StarFlux& star, std::size_t aperture) {
    // The caveat of an edge may mean the annulus alone: the area tells of the aperture.
    const double radius = frame.apertures[aperture].radius_px;
    const Caveats& c = star.caveats[aperture];
    return c.has(Caveat::saturated) || c.has(Caveat::not_linear) || !std::isfinite(star.flux_e[aperture]) ||
           (!frame.apertures[aperture].is_psf() &&
            star.area_px[aperture] < whole_area * std::numbers::pi * radius * radius);
}

double relative_err(const FrameFluxes& frame, const StarFlux& star, std::size_t aperture) {
    const double flux = star.flux_e[aperture];
    return std::sqrt(noise_terms(frame, star, aperture).variance_e2(flux)) / flux;
}

}  // namespace emberline::night
