// SPDX-License-Identifier: MIT
#include "night/synthetic_fluxes.hpp"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "night/aperture_grid.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::test {

namespace {

constexpr double sky_pixels = 500.0;
constexpr double mean_colour_mag = 0.7;  // that the colour term is counted from
constexpr double flux_above_mag = 99.0;  // no light at and beyond

double enclosed(double radius_px, double fwhm_px) {  // of a Gaussian image: 1 − 2^(−4 r²/FWHM²)
    return 1.0 - std::exp2(-4.0 * radius_px * radius_px / (fwhm_px * fwhm_px));
}

// The light ring by ring: each has its own photons and pixels, and all share the error of the sky.
photometry::StarFlux star_flux(const std::string& label, double total_e,
                               const std::vector<photometry::FrameAperture>& apertures, double fwhm_px,
                               double sky_scatter_e, numerics::Random& random) {
    photometry::StarFlux star;
    star.label = label;
    star.sky_scatter_e = sky_scatter_e;
    star.sky_pixels = sky_pixels;
    star.sky_err_e_per_px = sky_scatter_e / std::sqrt(sky_pixels);
    star.caveats.assign(apertures.size(), {});
    const double sky_missed_e = random.gaussian(0.0, star.sky_err_e_per_px);
    double flux_e = 0.0, area_px = 0.0, share = 0.0;
    for (const auto& aperture : apertures) {
        const double area = std::numbers::pi * aperture.radius_px * aperture.radius_px;
        const double within = enclosed(aperture.radius_px, fwhm_px);
        const double light_e = total_e * (within - share);
        flux_e += light_e +
                  random.gaussian(0.0, std::sqrt(light_e + (area - area_px) * sky_scatter_e * sky_scatter_e));
        area_px = area;
        share = within;
        star.flux_e.push_back(flux_e - area * sky_missed_e);
        star.area_px.push_back(area);
    }
    return star;
}

}  // namespace

std::vector<SyntheticStar> synthetic_stars() {
    std::vector<SyntheticStar> stars;
    for (int i = 0; i < 8; ++i) {
        const double v_mag = 12.0 + 0.2 * i;
        // Colours go up and down, so that they have nothing to do with brightness.
        stars.push_back({fmt::format("{:.0f}", 10.0 * v_mag), v_mag, 0.35 + 0.1 * ((3 * i) % 8)});
    }
    stars.push_back({"131", 13.1, 0.6, standard::Role::check});
    return stars;
}

standard::Sequence catalogue_of(const std::vector<SyntheticStar>& stars, const std::string& bands) {
    standard::Sequence sequence;
    sequence.source = "synthetic";
    for (const char band : bands)
        sequence.bands.push_back(*parse_band(std::string(1, band)));
    for (const SyntheticStar& star : stars) {
        standard::ComparisonStar entry;
        entry.label = star.label;
        entry.role = star.role;
        for (const Band& band : sequence.bands) {
            const double true_mag = star.v_mag + (band.name() == "B" ? star.colour_mag : 0.0);
            entry.magnitudes[band] = {true_mag + star.catalogue_off_mag, synthetic_catalogue_err_mag};
        }
        sequence.stars.push_back(std::move(entry));
    }
    return sequence;
}

photometry::FrameFluxes synthetic_fluxes(const SyntheticFrame& frame, const std::vector<SyntheticStar>& stars,
                                         const SyntheticCamera& camera,
                                         const night::MeasureSettings& settings, numerics::Random& random) {
    photometry::FrameFluxes fluxes;
    fluxes.frame = frame.name;
    fluxes.fingerprint = frame.name;
    fluxes.night = frame.night;
    fluxes.band = *parse_band(frame.band);
    fluxes.instrument = "main";
    fluxes.mid_exposure = {std::floor(frame.jd), frame.jd - std::floor(frame.jd), TimeScale::utc};
    fluxes.bjd_tdb = frame.jd + 0.003;
    fluxes.exposure_s = frame.exposure_s;
    fluxes.airmass = frame.airmass;
    fluxes.fwhm_px = frame.fwhm_px;
    fluxes.elongation = frame.elongation;
    fluxes.scale_arcsec_per_px = camera.scale_arcsec_per_px;
    fluxes.apertures = night::aperture_grid(frame.fwhm_px, camera.scale_arcsec_per_px, settings);

    const bool blue = frame.band == "B";
    const double term = blue ? -2.0 * camera.colour_term : camera.colour_term;
    const double zero_point_mag = camera.zero_point_mag + 2.5 * std::log10(frame.exposure_s) -
                                  facts(fluxes.band).extinction_mag_per_airmass * frame.airmass -
                                  frame.cloud_mag;
    const auto add = [&](const std::string& label, double magnitude_mag, double colour_mag) {
        const double instrumental_mag =
            magnitude_mag - zero_point_mag - term * (colour_mag - mean_colour_mag);
        const double total_e = magnitude_mag < flux_above_mag ? flux_ratio(instrumental_mag) : 0.0;
        fluxes.stars.push_back(
            star_flux(label, total_e, fluxes.apertures, frame.fwhm_px, camera.sky_scatter_e, random));
        fluxes.stars.back().airmass = frame.airmass;
    };
    add(photometry::transient_label, frame.transient_mag, frame.transient_colour_mag);
    if (frame.host) {
        for (Caveats& caveats : fluxes.stars.back().caveats)
            caveats.add(Caveat::host_unmodelled);
    }
    for (const SyntheticStar& star : stars) {
        if (!frame.missing.contains(star.label))
            add(star.label, star.v_mag + (blue ? star.colour_mag : 0.0), star.colour_mag);
    }
    fluxes.stars_expected = static_cast<int>(stars.size());
    fluxes.stars_found = static_cast<int>(fluxes.stars.size()) - 1;
    return fluxes;
}

std::vector<SyntheticFrame> series_of(const SyntheticFrame& example, int count) {
    std::vector<SyntheticFrame> frames(static_cast<std::size_t>(count), example);
    for (std::size_t i = 0; i < frames.size(); ++i) {
        frames[i].name = fmt::format("{}-{}", example.band, i);
        frames[i].jd = example.jd + static_cast<double>(i) / 144.0;
    }
    return frames;
}

std::vector<photometry::FrameFluxes> synthetic_fluxes(const std::vector<SyntheticFrame>& frames,
                                                      const std::vector<SyntheticStar>& stars,
                                                      const SyntheticCamera& camera,
                                                      const night::MeasureSettings& settings,
                                                      std::uint64_t seed) {
    numerics::Random random(seed);
    std::vector<photometry::FrameFluxes> fluxes;
    for (const SyntheticFrame& frame : frames)
        fluxes.push_back(synthetic_fluxes(frame, stars, camera, settings, random));
    return fluxes;
}

}  // namespace emberline::test
