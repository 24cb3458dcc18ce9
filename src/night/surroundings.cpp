// SPDX-License-Identifier: MIT
#include "night/surroundings.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "night/psf_fluxes.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;
using photometry::Surroundings;

constexpr double reach_fwhm = 7.0;           // to each side of the transient
constexpr double beyond_nucleus_fwhm = 4.0;  // and past the nucleus
constexpr int least_half_px = 16, most_half_px = 40;
constexpr double step_arcsec = 1.0;  // of the derivative of the plate solution
constexpr std::size_t stars_for_plane = 6;
constexpr double plane_gain = 0.7;  // a plane must bring the stars' scatter down to this to be believed

struct SkyLevel {
    double level_e = 0.0, err_e = 0.0;
};

double scatter_of(const std::vector<double>& residuals) {
    return numerics::mad_to_sigma * numerics::median_absolute_deviation(residuals, 0.0);
}

// What the stars see as sky, at the transient's place. Its error is that of a single star's, since what
// moves them apart (vignetting, haze, the host's outskirts) moves the transient's too.
SkyLevel sky_from_stars(const FrameFluxes& fluxes, const frame::PixelPosition& at) {
    std::vector<const StarFlux*> stars;
    std::vector<double> levels, errs;
    for (const StarFlux& star : fluxes.stars) {
        if (star.label == photometry::transient_label) continue;
        stars.push_back(&star);
        levels.push_back(star.sky_e_per_px);
        errs.push_back(star.sky_err_e_per_px);
    }
    if (stars.empty()) return {fluxes.stars.front().sky_e_per_px, fluxes.stars.front().sky_scatter_e};
    const double middle = numerics::median(levels);
    std::vector<double> residuals = levels;
    for (double& r : residuals)
        r -= middle;
    SkyLevel sky{middle, std::max(scatter_of(residuals), numerics::median(std::move(errs)))};
    if (stars.size() < stars_for_plane) return sky;
    numerics::Matrix a(stars.size(), 3);
    for (std::size_t i = 0; i < stars.size(); ++i) {
        a(i, 0) = 1.0;
        a(i, 1) = (stars[i]->position.x - at.x) / 1000.0;
        a(i, 2) = (stars[i]->position.y - at.y) / 1000.0;
    }
    const auto plane = numerics::linear_fit(a, levels);
    if (!plane) return sky;
    for (std::size_t i = 0; i < stars.size(); ++i) {
        residuals[i] = levels[i] - plane->parameters[0] - a(i, 1) * plane->parameters[1] -
                       a(i, 2) * plane->parameters[2];
    }
    // Three of the values went into the plane.
    const auto n = static_cast<double>(stars.size());
    const double left = scatter_of(residuals) * std::sqrt(n / (n - 3.0));
    if (left < plane_gain * sky.err_e) sky = {plane->parameters[0], left};
    return sky;
}

Result<std::array<double, 4>> pixels_per_arcsec(const frame::Wcs& wcs, const SkyPosition& place) {
    const auto at = wcs.pixel(place);
    if (!at) return fail(at.error());
    const auto east = wcs.pixel(displaced(place, {Angle::arcseconds(step_arcsec), Angle()}));
    if (!east) return fail(east.error());
    const auto north = wcs.pixel(displaced(place, {Angle(), Angle::arcseconds(step_arcsec)}));
    if (!north) return fail(north.error());
    return std::array{(east->x - at->x) / step_arcsec, (north->x - at->x) / step_arcsec,
                      (east->y - at->y) / step_arcsec, (north->y - at->y) / step_arcsec};
}

}  // namespace

std::optional<photometry::SkyShift> nucleus_shift(const Campaign& campaign) {
    if (!campaign.nucleus) return std::nullopt;
    const SkyOffset away = offset(campaign.position, *campaign.nucleus);
    return photometry::SkyShift{away.east.arcseconds(), away.north.arcseconds(), 0.0};
}

int half_width_px(const Campaign& campaign, double fwhm_px, double scale_arcsec_per_px) {
    double half_px = reach_fwhm * fwhm_px;
    if (const auto nucleus = nucleus_shift(campaign)) {
        const double away_px = std::hypot(nucleus->east_arcsec, nucleus->north_arcsec) / scale_arcsec_per_px;
        half_px = std::max(half_px, away_px + beyond_nucleus_fwhm * fwhm_px);
    }
    return std::clamp(static_cast<int>(std::ceil(half_px)), least_half_px, most_half_px);
}

Result<Surroundings> surroundings_of(const frame::Frame& frame, const frame::Wcs& wcs,
                                     const FrameNeeds& needs, const Campaign& campaign,
                                     const FrameFluxes& fluxes, const std::optional<photometry::Psf>& psf,
                                     int half_px) {
    Surroundings around;
    const StarFlux& transient = fluxes.stars.front();
    around.transient = transient.position;
    auto cutout = frame.read(box_around(transient.position, half_px));
    if (!cutout) return fail(cutout.error());
    around.cutout = std::move(*cutout);
    const auto scale = pixels_per_arcsec(wcs, campaign.position);
    if (!scale) return fail(scale.error());
    around.px_per_arcsec = *scale;
    const double gain = fluxes.gain_e_per_adu;
    const SkyLevel sky = sky_from_stars(fluxes, transient.position);
    around.sky_adu = sky.level_e / gain;
    around.sky_err_adu = sky.err_e / gain;
    around.sky_scatter_adu = pixel_noise(fluxes).sky_scatter_adu;
    around.gain_e_per_adu = gain;
    around.saturation_adu = std::min(needs.saturation_adu, needs.linear_to_adu);
    if (psf) around.psf = psf->numbers();
    return around;
}

}  // namespace emberline::night
