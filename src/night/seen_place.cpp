// SPDX-License-Identifier: MIT
// Notation: σ of a Gaussian as wide as the star, F its light. A slope g of light under it (ADU by px and px)
// moves the centre of a fit with equal weights by Σ g x ∂P/∂x / (F Σ (∂P/∂x)²) = 8 π σ⁴ g / F.
#include "night/seen_place.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "night/aperture_grid.hpp"
#include "night/host_grid.hpp"
#include "night/plate_shift.hpp"
#include "night/psf_fluxes.hpp"
#include "night/star_noise.hpp"
#include "night/surroundings.hpp"
#include "numerics/robust.hpp"
#include "photometry/noise.hpp"
#include "photometry/psf_fit.hpp"
#include "photometry/smooth_host.hpp"
#include "stars/centroid.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::HostLight;
using photometry::HostMethod;
using photometry::StarFlux;
using photometry::Surroundings;

const double fwhm_over_sigma = 2.0 * std::sqrt(2.0 * std::numbers::ln2);
constexpr double least_signal_to_noise = 5.0;
constexpr double most_shift_fwhm = 1.0;    // further off it is another source
constexpr double masked_shift_fwhm = 0.7;  // a smooth host was fitted beside a mask about the place

// What of the surface's error, over a FWHM, is its slope's; measured on rehearsed hosts of all kinds, 5″ and
// 8″ from their nucleus: the campaign's mean then has pulls of 0.7 to 1.
constexpr double surface_share = 0.5;
// A surface without a centre does not see a nucleus that lies within two FWHM: over a FWHM it may hide a
// slope as large as its own light (measured 5″ away: the mean then has pulls of about 1; 8″ away, of a half).
constexpr double unnamed_nucleus_share = 1.0;

struct Centre {
    frame::PixelPosition position;
    double x_err_px = 0.0, y_err_px = 0.0;
    double host_err_px = 0.0;
    const char* method = "centroid";
};

// Flux errors grow by this factor where noise is added to what the fit knew; so do those of the centre.
double growth(double added_e2, const FrameFluxes& fluxes, std::size_t k, double flux_e) {
    const double own = noise_terms(fluxes, fluxes.stars.front(), k).variance_e2(std::max(flux_e, 0.0));
    return own > 0.0 ? std::sqrt(1.0 + std::max(0.0, added_e2) / own) : 1.0;
}

struct Picture {
    frame::Cutout image;                // the transient alone, on a level sky
    std::vector<double> host_variance;  // photons of what was taken away
};

std::optional<photometry::PsfSourceFit> fitted(const Picture& picture, const Surroundings& around,
                                               const photometry::Psf& psf, double most_shift_px) {
    photometry::PsfFitOptions options;
    options.most_shift_px = most_shift_px;
    const auto fit =
        photometry::fit_psf(picture.image, psf, {{around.transient, true}},
                            {around.gain_e_per_adu, around.sky_scatter_adu}, options, picture.host_variance);
    if (!fit || !(fit->sources.front().flux_adu > 0.0) || fit->dof == 0) return std::nullopt;
    // What the PSF does not explain, a cosmic ray that was not seen as one, moves the centre too.
    photometry::PsfSourceFit star = fit->sources.front();
    const double widening = std::sqrt(std::max(1.0, fit->chi2 / static_cast<double>(fit->dof)));
    star.x_err_px *= widening;
    star.y_err_px *= widening;
    return star;
}

double host_photons(double host_adu, double gain_e_per_adu) {
    return std::isfinite(host_adu) ? std::max(0.0, host_adu) / gain_e_per_adu : 0.0;
}

std::optional<Centre> on_difference(const FrameFluxes& fluxes) {
    const Surroundings& around = *fluxes.surroundings;
    const auto psf = photometry::Psf::from_numbers(around.difference_psf);
    if (!psf) return std::nullopt;
    Picture picture{{around.cutout.box, around.difference_adu}, {}};
    for (std::size_t i = 0; i < around.difference_adu.size(); ++i) {
        const auto host = static_cast<double>(around.cutout.adu[i]) -
                          static_cast<double>(around.difference_adu[i]) - around.sky_adu;
        picture.host_variance.push_back(host_photons(host, around.gain_e_per_adu));
    }
    const auto star = fitted(picture, around, *psf, most_shift_fwhm * fluxes.fwhm_px + 1.0);
    if (!star) return std::nullopt;
    Centre out{star->position, star->x_err_px, star->y_err_px, 0.0, "difference"};
    const auto k = find_core(fluxes.apertures, fluxes.fwhm_px);
    for (const HostLight& light : fluxes.host_lights) {
        if (light.method != HostMethod::difference || !k || *k >= light.flux_e.size() ||
            !std::isfinite(light.flux_e[*k]))
            continue;
        const double err_px = std::hypot(out.x_err_px, out.y_err_px) / std::numbers::sqrt2;
        const double common =
            growth(light.common_err_e[*k] * light.common_err_e[*k], fluxes, *k, light.flux_e[*k]);
        out.host_err_px = err_px * std::sqrt(common * common - 1.0);
        const double random = growth(light.variance_e2[*k], fluxes, *k, light.flux_e[*k]);
        out.x_err_px *= random;
        out.y_err_px *= random;
    }
    return out;
}

std::optional<Centre> beside_smooth_host(const FrameFluxes& fluxes, const Campaign& campaign) {
    const Surroundings& around = *fluxes.surroundings;
    const auto psf = photometry::Psf::from_numbers(around.psf);
    if (!psf) return std::nullopt;
    const auto host = photometry::fit_smooth_host(around, host_grid(fluxes), nucleus_shift(campaign));
    if (!host) return std::nullopt;
    Picture picture{around.cutout, {}};
    for (std::size_t i = 0; i < picture.image.adu.size(); ++i) {
        const auto model = static_cast<double>(host->model.adu[i]);
        picture.image.adu[i] -= static_cast<float>(model);
        picture.host_variance.push_back(host_photons(model - around.sky_adu, around.gain_e_per_adu));
    }
    const auto star = fitted(picture, around, *psf, masked_shift_fwhm * fluxes.fwhm_px);
    if (!star) return std::nullopt;
    const double sigma_px = psf->fwhm_px() / fwhm_over_sigma;
    const double unknown = campaign.nucleus ? surface_share * host->surface_err_adu_per_px
                                            : unnamed_nucleus_share * std::max(0.0, host->surface_adu_per_px);
    const double slope = unknown / psf->fwhm_px();
    return Centre{star->position, star->x_err_px, star->y_err_px,
                  8.0 * std::numbers::pi * std::pow(sigma_px, 4) * slope / star->flux_adu, "psf"};
}

// Where neighbouring pixels vary together, a centroid is less certain than its pixels tell.
double correlated(const FrameFluxes& fluxes, const frame::Cutout& cutout) {
    std::vector<double> values(cutout.adu.begin(), cutout.adu.end());
    const double pixel_e = numerics::clipped_mean(values).sigma * fluxes.gain_e_per_adu;
    return pixel_e > 0.0 ? std::max(1.0, fluxes.stars.front().sky_scatter_e / pixel_e) : 1.0;
}

std::optional<Centre> by_centroid(const FrameFluxes& fluxes, const StarOnFrame& transient) {
    const auto found = stars::measure_centroid(transient.cutout, transient.position, fluxes.fwhm_px,
                                               most_shift_fwhm * fluxes.fwhm_px + 1.0, fluxes.gain_e_per_adu);
    if (!found) return std::nullopt;
    const double wider = correlated(fluxes, transient.cutout);
    return Centre{found->position, wider * found->x_err_px, wider * found->y_err_px, 0.0, "centroid"};
}

std::optional<Centre> centre_of(const FrameFluxes& fluxes, const StarField& field, const Campaign& campaign) {
    if (fluxes.surroundings && !fluxes.surroundings->difference_adu.empty()) {
        if (const auto centre = on_difference(fluxes)) return centre;
    }
    const std::vector<Caveats>& caveats = fluxes.stars.front().caveats;
    const bool host = std::any_of(caveats.begin(), caveats.end(),
                                  [](const Caveats& c) { return c.has(Caveat::host_unmodelled); });
    if (!host) return by_centroid(fluxes, field.stars.front());
    return fluxes.surroundings ? beside_smooth_host(fluxes, campaign) : std::nullopt;
}

std::vector<PlateResidual> residuals(const StarField& field, const frame::Wcs& wcs, const SkyPosition& about,
                                     double scale_arcsec_per_px, double saturation_adu) {
    std::vector<PlateResidual> out;
    for (const StarOnFrame& star : field.stars) {
        if (star.transient || !star.centroid || star.centroid->peak_adu >= saturation_adu) continue;
        const auto sky = wcs.sky(star.centroid->position);
        if (!sky) continue;
        const SkyOffset by_plate = offset(about, *sky), by_catalogue = offset(about, star.place);
        const double err_px =
            std::hypot(star.centroid->x_err_px, star.centroid->y_err_px) / std::numbers::sqrt2;
        out.push_back({by_plate.east.arcseconds(), by_plate.north.arcseconds(),
                       by_catalogue.east.arcseconds() - by_plate.east.arcseconds(),
                       by_catalogue.north.arcseconds() - by_plate.north.arcseconds(),
                       err_px * scale_arcsec_per_px});
    }
    return out;
}

}  // namespace

std::optional<photometry::SeenPlace> seen_place(const FrameFluxes& fluxes, const StarField& field,
                                                const frame::Wcs& wcs, const FrameNeeds& needs,
                                                const Campaign& campaign) {
    if (fluxes.stars.front().peak_adu >= needs.saturation_adu) return std::nullopt;
    const auto centre = centre_of(fluxes, field, campaign);
    if (!centre) return std::nullopt;
    const double most_err_px = fluxes.fwhm_px / (fwhm_over_sigma * least_signal_to_noise);
    if (!(std::max(centre->x_err_px, centre->y_err_px) < most_err_px)) return std::nullopt;

    const SkyPosition& about = campaign.position;
    const double scale = fluxes.scale_arcsec_per_px;
    const auto sky = wcs.sky(centre->position);
    const auto beside_x = wcs.sky({centre->position.x + 1.0, centre->position.y});
    const auto beside_y = wcs.sky({centre->position.x, centre->position.y + 1.0});
    if (!sky || !beside_x || !beside_y) return std::nullopt;
    const auto stars = residuals(field, wcs, about, scale, needs.saturation_adu);
    if (stars.empty()) return std::nullopt;

    const SkyOffset by_plate = offset(about, *sky);
    const PlateShift shift = plate_shift(stars, by_plate.east.arcseconds(), by_plate.north.arcseconds());
    photometry::SeenPlace out;
    out.place = displaced(about, {by_plate.east + Angle::arcseconds(shift.east_arcsec),
                                  by_plate.north + Angle::arcseconds(shift.north_arcsec)});
    const SkyOffset along_x = offset(*sky, *beside_x), along_y = offset(*sky, *beside_y);
    out.east_err_arcsec = std::hypot(along_x.east.arcseconds() * centre->x_err_px,
                                     along_y.east.arcseconds() * centre->y_err_px);
    out.north_err_arcsec = std::hypot(along_x.north.arcseconds() * centre->x_err_px,
                                      along_y.north.arcseconds() * centre->y_err_px);
    out.plate_err_arcsec = shift.err_arcsec;
    out.plate_noise_arcsec = shift.noise_arcsec;
    out.plate_rms_arcsec = shift.rms_arcsec;
    out.host_err_arcsec = centre->host_err_px * scale;
    out.stars = static_cast<int>(shift.stars);
    out.method = centre->method;
    return out;
}

}  // namespace emberline::night
