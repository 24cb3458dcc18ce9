// SPDX-License-Identifier: MIT
#include "night/transient_place.hpp"

#include <algorithm>
#include <cmath>

#include "night/host_grid.hpp"
#include "numerics/robust.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/psf_fit.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::SkyShift;
using photometry::Surroundings;

constexpr double clear_signal_to_noise = 10.0;
constexpr std::size_t least_frames = 3, most_frames = 60;
constexpr double most_shift_fwhm = 0.7;  // further off it is another source
constexpr double agree_fwhm = 0.25;      // scatter of single frames beyond which none is believed

struct Seen {
    double signal_to_noise;
    double east_arcsec, north_arcsec, err_arcsec;
};

frame::Cutout difference_of(const Surroundings& around) {
    return {around.cutout.box, around.difference_adu};
}

// The inverse of Surroundings::pixel.
std::pair<double, double> on_sky(const Surroundings& around, const frame::PixelPosition& at) {
    const auto& m = around.px_per_arcsec;
    const double dx = at.x - around.transient.x, dy = at.y - around.transient.y;
    const double det = m[0] * m[3] - m[1] * m[2];
    return {(m[3] * dx - m[1] * dy) / det, (m[0] * dy - m[2] * dx) / det};
}

// One axis, of both.
double scatter_about(const std::vector<double>& east, const std::vector<double>& north,
                     const SkyShift& place) {
    std::vector<double> away;
    for (const double e : east)
        away.push_back(e - place.east_arcsec);
    for (const double n : north)
        away.push_back(n - place.north_arcsec);
    return numerics::mad_to_sigma * numerics::median_absolute_deviation(away, 0.0);
}

std::optional<Seen> seen_on(const FrameFluxes& frame) {
    if (!frame.surroundings || frame.surroundings->difference_adu.empty()) return std::nullopt;
    const Surroundings& around = *frame.surroundings;
    const auto psf = photometry::Psf::from_numbers(around.difference_psf);
    if (!psf) return std::nullopt;
    photometry::PsfFitOptions options;
    options.sky_adu = 0.0;
    options.most_shift_px = most_shift_fwhm * frame.fwhm_px;
    const photometry::PixelNoise noise{around.gain_e_per_adu, around.sky_scatter_adu};
    const auto fit =
        photometry::fit_psf(difference_of(around), *psf, {{around.transient, true}}, noise, options);
    if (!fit) return std::nullopt;
    const photometry::PsfSourceFit& star = fit->sources.front();
    if (!(star.flux_adu > clear_signal_to_noise * star.flux_err_adu)) return std::nullopt;
    const auto [east, north] = on_sky(around, star.position);
    const double err_px = std::hypot(star.x_err_px, star.y_err_px) / std::sqrt(2.0);
    return Seen{star.flux_adu / star.flux_err_adu, east, north, err_px * frame.scale_arcsec_per_px};
}

}  // namespace

std::optional<SkyShift> place_on_differences(const std::vector<const FrameFluxes*>& frames) {
    std::vector<Seen> seen;
    std::vector<double> fwhm_arcsec;
    for (const FrameFluxes* frame : frames) {
        fwhm_arcsec.push_back(frame->fwhm_px * frame->scale_arcsec_per_px);
        if (const auto one = seen_on(*frame)) seen.push_back(*one);
    }
    if (seen.size() < least_frames) return std::nullopt;
    std::sort(seen.begin(), seen.end(),
              [](const Seen& a, const Seen& b) { return a.signal_to_noise > b.signal_to_noise; });
    if (seen.size() > most_frames) seen.resize(most_frames);
    std::vector<double> east, north;
    double weight = 0.0;
    for (const Seen& s : seen) {
        east.push_back(s.east_arcsec);
        north.push_back(s.north_arcsec);
        weight += 1.0 / (s.err_arcsec * s.err_arcsec);
    }
    SkyShift place{numerics::median(east), numerics::median(north), 0.0};
    const double scatter = scatter_about(east, north, place);
    if (scatter > agree_fwhm * numerics::median(std::move(fwhm_arcsec))) return std::nullopt;
    // A median of n values is 1.25 times as uncertain as their mean.
    const auto n = static_cast<double>(seen.size());
    place.err_arcsec = std::max(1.0 / std::sqrt(weight), 1.25 * scatter / std::sqrt(n));
    return place;
}

std::optional<MovedLight> moved_light(const FrameFluxes& frame, const SkyShift& shift) {
    if (!frame.surroundings || frame.surroundings->difference_adu.empty()) return std::nullopt;
    const Surroundings& around = *frame.surroundings;
    const auto psf = photometry::Psf::from_numbers(around.difference_psf);
    if (!psf) return std::nullopt;
    const frame::Cutout image = difference_of(around);
    const photometry::FluxGrid grid = host_grid(frame);
    const auto light_at = [&](double east, double north) {
        const frame::PixelPosition at = around.pixel(east, north);
        std::vector<double> flux_e(grid.radii_px.size(), 0.0);
        const auto sums = photometry::sum_apertures(image, at, grid.radii_px, photometry::SkyEstimate{},
                                                    {around.saturation_adu, around.saturation_adu});
        photometry::PsfFitOptions options;
        options.sky_adu = 0.0;
        options.weights = photometry::PsfWeights::equal;
        const auto fit = photometry::fit_psf(image, *psf, {{at}},
                                             {around.gain_e_per_adu, around.sky_scatter_adu}, options);
        for (std::size_t k = 0; k < flux_e.size(); ++k) {
            const double adu = k == grid.psf ? (fit ? fit->sources.front().flux_adu : 0.0)
                                             : (sums ? sums->flux_adu[k] : 0.0);
            flux_e[k] = adu * around.gain_e_per_adu;
        }
        return flux_e;
    };
    const auto before = light_at(0.0, 0.0);
    const auto after = light_at(shift.east_arcsec, shift.north_arcsec);
    const auto east = light_at(shift.east_arcsec + shift.err_arcsec, shift.north_arcsec);
    const auto north = light_at(shift.east_arcsec, shift.north_arcsec + shift.err_arcsec);
    MovedLight out;
    for (std::size_t k = 0; k < before.size(); ++k) {
        out.change_e.push_back(after[k] - before[k]);
        out.err_e.push_back(std::hypot(east[k] - after[k], north[k] - after[k]));
    }
    return out;
}

}  // namespace emberline::night
