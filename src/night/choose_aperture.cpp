// SPDX-License-Identifier: MIT
#include "night/choose_aperture.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "night/aperture_grid.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "photometry/growth.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::FrameAperture;
using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr double host_share = 0.2;   // of the frames that show host light: enough to fix the angle
constexpr double angle_share = 0.9;  // of the frames must have an angle for it to be a candidate
// Under a fixed angle the seeing must not cut into the star: at least this many median FWHM as a radius.
constexpr double least_angle_fwhm = 1.0;
constexpr std::size_t frames_to_tell = 4;  // of a star, for its scatter to mean something
constexpr double mean_deviation_to_sigma = 1.2533141373155001;  // sqrt(π/2), of a Gaussian
constexpr double least_ratio = 0.1;
constexpr double clear_enough_mag = 0.03;  // noisier stars tell nothing of what is beyond noise

// What one frame offers at some of its apertures.
struct FrameOffer {
    const FrameFluxes* frame = nullptr;
    std::vector<std::size_t> apertures;
    std::vector<photometry::ApertureCandidate> candidates;
    double transient_total_e = 0.0;
};

// The transient may fade between nights, never by much within one.
std::string transient_key(const FrameFluxes& frame) {
    return "@" + frame.night + '/' + frame.band.name() + '/' + frame.instrument;
}

std::optional<FrameOffer> offer_of(const FrameFluxes& frame, const std::vector<std::size_t>& apertures,
                                   const std::set<std::string>& comparison) {
    const StarFlux* transient = frame.find(photometry::transient_label);
    if (transient == nullptr || apertures.empty()) return std::nullopt;
    std::vector<std::vector<double>> fluxes;
    std::vector<double> last_err;
    std::vector<const StarFlux*> stars;
    const std::size_t last = apertures.back();
    for (const StarFlux& star : frame.stars) {
        if (!comparison.contains(star.label) || light_lost(frame, star, last) || star.flux_e[last] <= 0.0)
            continue;
        std::vector<double> flux;
        for (const std::size_t k : apertures)
            flux.push_back(star.flux_e[k]);
        fluxes.push_back(std::move(flux));
        last_err.push_back(star.flux_e[last] * relative_err(frame, star, last));
        stars.push_back(&star);
    }
    const photometry::GrowthCurve growth = photometry::growth_curve(fluxes, last_err);
    if (growth.stars == 0) return std::nullopt;
    FrameOffer offer;
    offer.frame = &frame;
    offer.apertures = apertures;
    for (std::size_t j = 0; j < apertures.size(); ++j) {
        const std::size_t k = apertures[j];
        double weight = 0.0;
        for (const StarFlux* star : stars) {
            if (star->flux_e[k] > 0.0) weight += std::pow(relative_err(frame, *star, k), -2);
        }
        // What its place does to the transient scales with its light, as a zero point's error does.
        const double zero_point_mag = weight > 0.0 ? mag_per_relative_flux / std::sqrt(weight) : 1.0;
        offer.candidates.push_back(
            {growth.fraction[j], noise_terms(frame, *transient, k).background_e2,
             std::hypot(zero_point_mag, mag_per_relative_flux * place_err(*transient, k))});
    }
    // From the aperture nearest to one FWHM, where a faint transient is seen best.
    const auto middle =
        std::min_element(apertures.begin(), apertures.end(), [&](std::size_t a, std::size_t b) {
            return std::abs(frame.apertures[a].radius_px - frame.fwhm_px) <
                   std::abs(frame.apertures[b].radius_px - frame.fwhm_px);
        });
    const double enclosed = growth.fraction[static_cast<std::size_t>(middle - apertures.begin())];
    offer.transient_total_e = enclosed > 0.0 ? transient->flux_e[*middle] / enclosed : 0.0;
    return offer;
}

// What the stars' magnitudes scatter from frame to frame over what their noise says; and, for host light that
// follows the seeing, what the transient's scatter within its nights beyond its noise. 1 and 0 where too few
// frames or stars tell.
struct Scatter {
    double stars_ratio = 1.0, transient_mag = 0.0;
};

double robust_scatter(const std::vector<double>& residuals) {
    return numerics::mad_to_sigma * numerics::median_absolute_deviation(residuals, 0.0);
}

Scatter scatter_at(const std::vector<FrameOffer>& offers, std::size_t candidate,
                   const std::set<std::string>& comparison) {
    struct Seen {
        std::size_t offer;
        double mag, variance;
    };
    std::map<std::string, std::vector<Seen>> stars;
    for (std::size_t f = 0; f < offers.size(); ++f) {
        const FrameFluxes& frame = *offers[f].frame;
        const std::size_t k = offers[f].apertures[candidate];
        for (const StarFlux& star : frame.stars) {
            const bool transient = star.label == photometry::transient_label;
            if ((!transient && !comparison.contains(star.label)) || light_lost(frame, star, k) ||
                star.flux_e[k] <= 0.0)
                continue;
            const double err = mag_per_relative_flux * relative_err(frame, star, k);
            if (err > clear_enough_mag) continue;
            stars[transient ? transient_key(frame) : star.label + '/' + frame.band.name()].push_back(
                {f, magnitude_difference(star.flux_e[k], 1.0), err * err});
        }
    }
    // Each frame's zero point: the middle of its stars about their own middles.
    const auto about_middle = [](std::vector<Seen>& seen) {
        std::vector<double> mags;
        for (const Seen& s : seen)
            mags.push_back(s.mag);
        const double middle = numerics::median(std::move(mags));
        for (Seen& s : seen)
            s.mag -= middle;
    };
    std::vector<std::vector<double>> by_frame(offers.size());
    for (auto& [key, seen] : stars) {
        about_middle(seen);
        if (key.front() == '@') continue;
        for (const Seen& s : seen)
            by_frame[s.offer].push_back(s.mag);
    }
    std::vector<double> zero(offers.size(), 0.0);
    for (std::size_t f = 0; f < offers.size(); ++f) {
        if (!by_frame[f].empty()) zero[f] = numerics::median(by_frame[f]);
    }
    std::vector<double> star_residuals, star_variances, transient_residuals, transient_variances;
    for (auto& [key, seen] : stars) {
        if (seen.size() < frames_to_tell) continue;
        for (Seen& s : seen)
            s.mag -= zero[s.offer];
        about_middle(seen);
        const bool transient = key.front() == '@';
        for (const Seen& s : seen) {
            (transient ? transient_residuals : star_residuals).push_back(s.mag);
            (transient ? transient_variances : star_variances).push_back(s.variance);
        }
    }
    Scatter out;
    if (star_residuals.size() >= 3 * frames_to_tell) {
        for (std::size_t i = 0; i < star_residuals.size(); ++i)
            star_residuals[i] /= std::sqrt(star_variances[i]);
        out.stars_ratio = std::max(robust_scatter(star_residuals), least_ratio);
    }
    if (transient_residuals.size() >= frames_to_tell) {
        // Of few frames the mean deviation tells more than the median one.
        double s = 0.0;
        for (const double r : transient_residuals)
            s += mean_deviation_to_sigma * std::abs(r) / static_cast<double>(transient_residuals.size());
        out.transient_mag =
            std::sqrt(std::max(0.0, s * s - numerics::median(std::move(transient_variances))));
    }
    return out;
}

// `host`: the transient's own scatter within its nights counts as well.
std::optional<std::size_t> best_of(const std::vector<FrameOffer>& offers,
                                   const std::set<std::string>& comparison, bool host) {
    if (offers.empty()) return std::nullopt;
    const std::size_t n = offers.front().candidates.size();
    const auto middle = [&](auto value) {
        std::vector<double> values;
        for (const FrameOffer& offer : offers)
            values.push_back(value(offer));
        return numerics::median(std::move(values));
    };
    std::vector<photometry::ApertureCandidate> usual;
    for (std::size_t j = 0; j < n; ++j) {
        const Scatter seen = scatter_at(offers, j, comparison);
        const double scatter_mag = host ? seen.transient_mag : 0.0;
        usual.push_back({middle([&](const FrameOffer& o) { return o.candidates[j].enclosed; }),
                         middle([&](const FrameOffer& o) { return o.candidates[j].background_e2; }),
                         std::hypot(scatter_mag, middle([&](const FrameOffer& o) {
                                        return o.candidates[j].zero_point_err_mag;
                                    })),
                         // Stars and transient lose the same share of light; where they do not, they scatter.
                         host ? 1.0 : seen.stars_ratio});
    }
    return photometry::best_aperture(usual, middle([](const FrameOffer& o) { return o.transient_total_e; }));
}

std::vector<double> common_angles(const std::vector<const FrameFluxes*>& frames) {
    std::map<double, std::size_t> count;
    std::vector<double> fwhm_arcsec;
    for (const FrameFluxes* frame : frames) {
        fwhm_arcsec.push_back(frame->fwhm_px * frame->scale_arcsec_per_px);
        for (const auto& aperture : frame->apertures) {
            if (aperture.angle_arcsec) ++count[*aperture.angle_arcsec];
        }
    }
    const double usual = numerics::median(fwhm_arcsec);
    std::vector<double> angles, large;
    for (const auto& [angle, times] : count) {
        if (static_cast<double>(times) < angle_share * static_cast<double>(frames.size())) continue;
        angles.push_back(angle);
        if (angle >= least_angle_fwhm * usual) large.push_back(angle);
    }
    return large.empty() ? angles : large;
}

std::optional<double> best_angle(const std::vector<const FrameFluxes*>& frames,
                                 const std::set<std::string>& comparison) {
    const std::vector<double> angles = common_angles(frames);
    std::vector<FrameOffer> offers;
    for (const FrameFluxes* frame : frames) {
        std::vector<std::size_t> apertures;
        for (const double angle : angles) {
            if (const auto k = find_angle(frame->apertures, angle)) apertures.push_back(*k);
        }
        if (apertures.size() != angles.size()) continue;
        if (auto offer = offer_of(*frame, apertures, comparison)) offers.push_back(std::move(*offer));
    }
    const auto best = best_of(offers, comparison, true);
    if (!best) return angles.empty() ? std::nullopt : std::optional(angles.front());
    return angles[*best];
}

// An aperture that many frames have: a multiple of the FWHM, or the PSF's fit.
using Kind = std::optional<double>;  // absent: the PSF

std::optional<std::size_t> find_kind(const FrameFluxes& frame, const Kind& kind) {
    return kind ? find_multiple(frame.apertures, *kind) : find_psf(frame.apertures);
}

bool host_taken_away(const FrameFluxes& frame) {
    const StarFlux* transient = frame.find(photometry::transient_label);
    return transient != nullptr && transient->host.has_value();
}

// Those that every frame of a night has. The fit counts where the settings want it; left to itself the
// program takes it beside a host only, where it was shown to be better.
std::optional<Kind> best_kind(const std::vector<const FrameFluxes*>& frames,
                              const std::set<std::string>& comparison,
                              const std::optional<bool>& psf_wanted) {
    const bool may_fit = psf_wanted.value_or(
        std::all_of(frames.begin(), frames.end(), [](const FrameFluxes* f) { return host_taken_away(*f); }));
    std::vector<Kind> kinds;
    for (const auto& aperture : frames.front()->apertures) {
        const bool fit = aperture.is_psf();
        if (fit ? !may_fit : !aperture.fwhm_multiple || psf_wanted.value_or(false)) continue;
        const Kind kind = fit ? Kind() : aperture.fwhm_multiple;
        const bool everywhere = std::all_of(frames.begin(), frames.end(), [&](const FrameFluxes* frame) {
            const auto k = find_kind(*frame, kind);
            const StarFlux* transient = frame->find(photometry::transient_label);
            return k && (!fit || (transient != nullptr && std::isfinite(transient->flux_e[*k])));
        });
        if (everywhere) kinds.push_back(kind);
    }
    if (kinds.empty()) return std::nullopt;
    std::vector<FrameOffer> offers;
    for (const FrameFluxes* frame : frames) {
        std::vector<std::size_t> apertures;
        for (const Kind& kind : kinds)
            apertures.push_back(*find_kind(*frame, kind));
        if (auto offer = offer_of(*frame, apertures, comparison)) offers.push_back(std::move(*offer));
    }
    const auto best = best_of(offers, comparison, false);
    return kinds[best.value_or(kinds.size() / 2)];
}

bool host_shows(const std::vector<const FrameFluxes*>& frames) {
    std::size_t shown = 0;
    for (const FrameFluxes* frame : frames) {
        const StarFlux* transient = frame->find(photometry::transient_label);
        if (transient != nullptr && !transient->caveats.empty() &&
            transient->caveats.front().has(Caveat::host_unmodelled))
            ++shown;
    }
    return static_cast<double>(shown) > host_share * static_cast<double>(frames.size());
}

}  // namespace

std::vector<std::optional<std::size_t>> choose_apertures(const std::vector<const FrameFluxes*>& frames,
                                                         const std::set<std::string>& comparison,
                                                         const MeasureSettings& settings) {
    std::vector<std::optional<std::size_t>> chosen(frames.size());
    if (frames.empty()) return chosen;
    std::optional<double> angle = settings.aperture_arcsec;
    if (!angle && !settings.aperture_fwhm && host_shows(frames)) angle = best_angle(frames, comparison);
    if (angle) {
        for (std::size_t i = 0; i < frames.size(); ++i)
            chosen[i] = find_angle(frames[i]->apertures, *angle);
        return chosen;
    }
    std::map<std::tuple<std::string, Band, std::string>, std::vector<std::size_t>> nights;
    for (std::size_t i = 0; i < frames.size(); ++i)
        nights[{frames[i]->night, frames[i]->band, frames[i]->instrument}].push_back(i);
    for (const auto& [key, members] : nights) {
        std::optional<Kind> kind;
        if (settings.aperture_fwhm) {
            kind = settings.aperture_fwhm;
        } else {
            std::vector<const FrameFluxes*> night;
            for (const std::size_t i : members)
                night.push_back(frames[i]);
            kind = best_kind(night, comparison, settings.psf);
        }
        for (const std::size_t i : members) {
            if (kind) chosen[i] = find_kind(*frames[i], *kind);
        }
    }
    return chosen;
}

}  // namespace emberline::night
