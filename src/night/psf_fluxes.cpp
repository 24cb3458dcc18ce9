// SPDX-License-Identifier: MIT
#include "night/psf_fluxes.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "numerics/robust.hpp"
#include "photometry/build_psf.hpp"
#include "photometry/psf_fit.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

const StarOnFrame* on_field(const StarField& field, const std::string& label) {
    for (const StarOnFrame& star : field.stars) {
        if (star.label == label) return &star;
    }
    return nullptr;
}

// A place among the apertures, by the radius of a circle with as much sky noise.
std::size_t open_place(FrameFluxes& fluxes, double area_px, double photon_factor,
                       const SampledLight& sampled) {
    photometry::FrameAperture own;
    own.radius_px = std::sqrt(area_px / std::numbers::pi);
    own.psf_photon_factor = photon_factor;
    const auto at = std::upper_bound(
        fluxes.apertures.begin(), fluxes.apertures.end(), own.radius_px,
        [](double radius, const photometry::FrameAperture& a) { return radius < a.radius_px; });
    const auto place = at - fluxes.apertures.begin();
    fluxes.apertures.insert(at, own);
    for (StarFlux& star : fluxes.stars) {
        star.flux_e.insert(star.flux_e.begin() + place, std::numeric_limits<double>::quiet_NaN());
        star.area_px.insert(star.area_px.begin() + place, area_px);
        star.place_err.insert(star.place_err.begin() + place, sampled.fit_err(own.radius_px));
        // The caveats of the next larger aperture, which sees the pixels of the fit.
        const auto like = std::min<std::ptrdiff_t>(place, std::ssize(star.caveats) - 1);
        const Caveats caveats = star.caveats[static_cast<std::size_t>(like)];
        star.caveats.insert(star.caveats.begin() + place, caveats);
    }
    return static_cast<std::size_t>(place);
}

}  // namespace

photometry::PixelNoise pixel_noise(const FrameFluxes& fluxes) {
    std::vector<double> scatters_e;
    for (const StarFlux& star : fluxes.stars) {
        if (star.label != photometry::transient_label) scatters_e.push_back(star.sky_scatter_e);
    }
    double scatter_e = scatters_e.empty() ? 0.0 : numerics::median(std::move(scatters_e));
    // A sky clipped at black shows none; rounding alone leaves so much.
    if (!(scatter_e > 0.0)) scatter_e = fluxes.gain_e_per_adu / std::sqrt(12.0);
    return {fluxes.gain_e_per_adu, scatter_e / fluxes.gain_e_per_adu};
}

Result<photometry::Psf> add_psf_fluxes(FrameFluxes& fluxes, const StarField& field, const FrameNeeds& needs,
                                       const SampledLight& sampled) {
    const photometry::PixelNoise noise = pixel_noise(fluxes);
    std::vector<photometry::PsfStar> stars;
    for (const StarFlux& star : fluxes.stars) {
        const StarOnFrame* on = on_field(field, star.label);
        if (on == nullptr || on->transient || star.forced) continue;
        stars.push_back({star.label, on->cutout, star.position, star.sky_e_per_px / fluxes.gain_e_per_adu});
    }
    auto built = photometry::build_psf(stars, fluxes.fwhm_px, noise,
                                       std::min(needs.linear_to_adu, needs.saturation_adu));
    if (!built) return fail(built.error());
    const photometry::Psf& psf = built->psf;
    const frame::PixelPosition& middle = fluxes.stars.front().position;
    const std::size_t k = open_place(fluxes, psf.noise_area_px(middle), psf.photon_factor(middle), sampled);
    for (StarFlux& star : fluxes.stars) {
        const StarOnFrame* on = on_field(field, star.label);
        if (on == nullptr) continue;
        photometry::PsfFitOptions options;
        options.sky_adu = star.sky_e_per_px / fluxes.gain_e_per_adu;
        options.weights = photometry::PsfWeights::equal;
        const auto fit = photometry::fit_psf(on->cutout, psf, {{star.position}}, noise, options);
        if (!fit) continue;
        star.flux_e[k] = fit->sources.front().flux_adu * fluxes.gain_e_per_adu;
        star.area_px[k] = psf.noise_area_px(star.position);
    }
    return std::move(built->psf);
}

}  // namespace emberline::night
