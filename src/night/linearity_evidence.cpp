// SPDX-License-Identifier: MIT
#include "night/linearity_evidence.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "night/aperture_grid.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "photometry/local_sky.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;
using photometry::TexturePlace;
using photometry::TrendPoint;

constexpr double small_fwhm = 0.8, magnitude_fwhm = 1.5, large_fwhm = 2.1;  // radii
constexpr double least_signal_to_noise = 5.0;
constexpr std::size_t most_stars = 40;  // the brightest; more add time and no certainty
constexpr double bright_sigma = 40.0;   // a core so far above the sky shows a star's shape
// Beyond photon noise and the catalogue's errors: colour, flat field and thin cloud; where in the field a
// star is and how it sits on its pixels. Common practice, no source.
constexpr double usual_scatter_mag = 0.06, usual_shape_scatter = 0.04;
constexpr double same_ceiling = 0.005;
// More sky than this makes nothing surer and takes time.
constexpr double enough_pixels = 16000.0;
constexpr std::size_t least_places = 6;

struct Radii {
    std::size_t small, magnitude, large;
};
std::optional<Radii> radii_of(const FrameFluxes& fluxes) {
    const auto small = find_multiple(fluxes.apertures, small_fwhm);
    const auto magnitude = find_multiple(fluxes.apertures, magnitude_fwhm);
    const auto large = find_multiple(fluxes.apertures, large_fwhm);
    if (!small || !magnitude || !large) return std::nullopt;
    return Radii{*small, *magnitude, *large};
}

struct Candidate {
    const StarOnFrame* star;
    const StarFlux* light;
    double peak_adu;  // of the pixels themselves
};

double core_peak(const StarOnFrame& star, double fwhm_px) {
    const frame::PixelBox& box = star.cutout.box;
    const int reach = static_cast<int>(std::ceil(fwhm_px));
    const int cx = static_cast<int>(std::lround(star.position.x));
    const int cy = static_cast<int>(std::lround(star.position.y));
    float peak = 0.0F;
    for (int y = std::max(cy - reach, box.y0); y <= std::min(cy + reach, box.y0 + box.height - 1); ++y) {
        for (int x = std::max(cx - reach, box.x0); x <= std::min(cx + reach, box.x0 + box.width - 1); ++x) {
            const float v = star.cutout.at(x, y);
            if (std::isfinite(v)) peak = std::max(peak, v);
        }
    }
    return static_cast<double>(peak);
}

std::vector<Candidate> candidates_of(const FrameFluxes& fluxes, const StarField& field) {
    std::map<std::string, const StarFlux*> lights;
    for (const StarFlux& light : fluxes.stars)
        lights[light.label] = &light;
    std::vector<Candidate> candidates;
    for (const StarOnFrame& star : field.stars) {
        const auto light = lights.find(star.label);
        if (star.transient || light == lights.end()) continue;
        candidates.push_back({&star, light->second, core_peak(star, fluxes.fwhm_px)});
    }
    std::sort(candidates.begin(), candidates.end(),
              [](const Candidate& a, const Candidate& b) { return a.peak_adu > b.peak_adu; });
    if (candidates.size() > most_stars) candidates.resize(most_stars);
    return candidates;
}

// A level at which several stars end: a sensor's or a converter's, whatever the header says of saturation.
void find_ceiling(const std::vector<Candidate>& candidates, LinearityEvidence& evidence) {
    if (candidates.size() < 2) return;
    const double top = candidates.front().peak_adu;
    for (const Candidate& c : candidates)
        evidence.at_ceiling += c.peak_adu > (1.0 - same_ceiling) * top ? 1 : 0;
    if (evidence.at_ceiling > 1) evidence.ceiling_adu = top;
}

bool is_whole(const Candidate& c, std::size_t k, const LinearityEvidence& evidence, const FrameNeeds& needs) {
    const Caveats& caveats = c.light->caveats[k];
    if (caveats.has(Caveat::saturated) || caveats.has(Caveat::not_linear) || caveats.has(Caveat::edge) ||
        caveats.has(Caveat::bad_pixels))
        return false;
    if (c.peak_adu >= needs.linear_to_adu) return false;
    return !evidence.ceiling_adu || c.peak_adu < (1.0 - same_ceiling) * *evidence.ceiling_adu;
}

void compare_brightness(const FrameFluxes& fluxes, const std::vector<Candidate>& candidates,
                        const FrameNeeds& needs, const standard::Sequence& sequence, const Radii& radii,
                        LinearityEvidence& evidence) {
    std::vector<TrendPoint> magnitudes, shapes;
    std::vector<double> catalogue;
    double squares = 0.0;
    for (const Candidate& c : candidates) {
        const StarFlux& light = *c.light;
        if (!is_whole(c, radii.large, evidence, needs) || !(light.flux_e[radii.small] > 0.0) ||
            !(light.flux_e[radii.magnitude] > 0.0) || !(light.flux_e[radii.large] > 0.0))
            continue;
        const double err = relative_err(fluxes, light, radii.magnitude);
        if (!(err * least_signal_to_noise < 1.0)) continue;
        const double instrumental = -2.5 * std::log10(light.flux_e[radii.magnitude]);
        const double shape_err =
            std::hypot(relative_err(fluxes, light, radii.small), relative_err(fluxes, light, radii.large));
        shapes.push_back(
            {instrumental, std::log(light.flux_e[radii.small] / light.flux_e[radii.large]), shape_err});
        const standard::ComparisonStar* star = sequence.find(light.label);
        if (star == nullptr || star->role == standard::Role::ignore) continue;
        const auto known = star->magnitude(sequence_band(fluxes.band));
        if (!known) continue;
        magnitudes.push_back(
            {known->value, instrumental, std::hypot(mag_per_relative_flux * err, known->err)});
        catalogue.push_back(known->value);
        squares += known->err * known->err;
    }
    if (catalogue.size() > 1) {
        double mean = 0.0, variance = 0.0;
        for (const double m : catalogue)
            mean += m / static_cast<double>(catalogue.size());
        for (const double m : catalogue)
            variance += (m - mean) * (m - mean);
        if (variance > 0.0) evidence.catalogue_dilution = std::min(0.5, squares / variance);
    }
    evidence.magnitudes =
        photometry::brightness_trend(magnitudes, 1.0 - evidence.catalogue_dilution, usual_scatter_mag);
    evidence.shapes = photometry::brightness_trend(shapes, 0.0, usual_shape_scatter);
}

void look_at_pixels(const FrameFluxes& fluxes, const std::vector<Candidate>& candidates,
                    const FrameNeeds& needs, const photometry::Annulus& annulus, std::size_t core,
                    LinearityEvidence& evidence) {
    std::vector<TexturePlace> places;
    std::vector<float> sky_pixels, star_pixels;
    std::vector<double> levels, scatters;
    const double sky_area_px =
        std::numbers::pi * (annulus.outer_px * annulus.outer_px - annulus.inner_px * annulus.inner_px);
    const auto most = std::max(least_places, static_cast<std::size_t>(enough_pixels / sky_area_px));
    for (const Candidate& c : candidates) {
        if (places.size() == most) break;
        const auto sky = photometry::estimate_sky(c.star->cutout, c.star->position, annulus);
        if (!sky) continue;
        const bool bright = c.peak_adu > sky->level_adu + bright_sigma * sky->scatter_adu;
        places.push_back(
            {&c.star->cutout, c.star->position, annulus, *sky, bright && is_whole(c, core, evidence, needs)});
        levels.push_back(sky->level_adu);
        scatters.push_back(sky->scatter_adu);
    }
    evidence.stars = static_cast<int>(places.size());
    if (places.empty()) return;
    evidence.sky_adu = numerics::median(levels);
    evidence.scatter_adu = numerics::median(scatters);
    for (const TexturePlace& place : places) {
        const frame::PixelBox& box = place.cutout->box;
        const double inner2 = annulus.inner_px * annulus.inner_px;
        const double outer2 = annulus.outer_px * annulus.outer_px;
        for (int y = box.y0; y < box.y0 + box.height; ++y) {
            const double v = y - place.centre.y;
            for (int x = box.x0; x < box.x0 + box.width; ++x) {
                const double u = x - place.centre.x, r2 = u * u + v * v;
                if (r2 > outer2) continue;
                (r2 < inner2 ? star_pixels : sky_pixels).push_back(place.cutout->at(x, y));
            }
        }
    }
    evidence.levels = photometry::level_histogram(std::move(sky_pixels), star_pixels, evidence.scatter_adu);
    evidence.texture =
        photometry::sky_texture(places, fluxes.fwhm_px, evidence.levels.step, evidence.levels.lowest);
    evidence.ring = photometry::find_dark_ring(places, fluxes.fwhm_px);
    if (evidence.scatter_adu > 0.0) {
        std::vector<double> widened;
        for (const Candidate& c : candidates)
            widened.push_back(c.light->sky_scatter_e);
        const double factor = numerics::median(widened) / (evidence.scatter_adu * needs.gain_e_per_adu) *
                              fluxes.apertures.back().sky_noise_factor;
        evidence.noise_area_px = factor * factor;
    }
    // 4 π σ², FWHM = 2.355 σ.
    evidence.star_area_px = 2.266 * fluxes.fwhm_px * fluxes.fwhm_px;
}

}  // namespace

LinearityEvidence gather_evidence(const FrameFluxes& fluxes, const StarField& field, const FrameNeeds& needs,
                                  const standard::Sequence& sequence, const Campaign& campaign) {
    LinearityEvidence evidence;
    const auto radii = radii_of(fluxes);
    if (!radii) return evidence;
    const std::vector<Candidate> candidates = candidates_of(fluxes, field);
    find_ceiling(candidates, evidence);
    compare_brightness(fluxes, candidates, needs, sequence, *radii, evidence);
    const auto annulus =
        annulus_around(fluxes.apertures, fluxes.fwhm_px, fluxes.scale_arcsec_per_px, campaign.measure);
    look_at_pixels(fluxes, candidates, needs, annulus, radii->small, evidence);
    return evidence;
}

}  // namespace emberline::night
