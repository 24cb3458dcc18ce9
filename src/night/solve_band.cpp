// SPDX-License-Identifier: MIT
#include "night/solve_band.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {
namespace {

using photometry::StarFlux;

constexpr double uneven_mag = 0.02;        // scatter of a frame's stars that an observer would care about
constexpr std::size_t stars_to_judge = 3;  // fewer cannot tell which of them is wrong
constexpr double clear_signal_to_noise = 20.0;
constexpr double wrong_mag = 0.4, wrong_sigma = 10.0;  // a star further off takes no part at all
constexpr double used_weight = 0.1;                    // robust weight below which a star counts as not used

// A star without a clear pixel of sky around it has no flux and no noise that mean anything.
bool measured(const photometry::FrameFluxes& frame, const StarFlux& star, std::size_t aperture) {
    return std::isfinite(star.flux_e[aperture]) &&
           std::isfinite(noise_terms(frame, star, aperture).background_e2);
}

// What a colour term may be before anything is known of it. A camera's colours lie farther from the standard
// bands than filters made for them; common practice, no source.
ValueWithError usual_colour_term(const Band& band) {
    constexpr double own_band = 0.1, green = 0.2, other = 0.4;
    if (sequence_band(band) == band) return {0.0, own_band};
    return {0.0, band.name() == "TG" ? green : other};
}

// How far a star's magnitudes lie from its catalogue's, against the middle star of each frame.
std::map<std::string, double> catalogue_misses(const BandSolution& band) {
    std::map<std::string, std::vector<double>> misses;
    for (const JudgedFrame& frame : band.frames) {
        if (!frame.refusal.empty()) continue;
        std::vector<std::pair<std::string, double>> offers;
        std::vector<double> values;
        for (const standard::SolveStar& star : band.stars) {
            const StarFlux* light = frame.fluxes->find(star.label);
            if (light == nullptr || light_lost(*frame.fluxes, *light, *frame.aperture)) continue;
            const double flux = light->flux_e[*frame.aperture];
            const double err =
                std::sqrt(noise_terms(*frame.fluxes, *light, *frame.aperture).variance_e2(flux));
            if (!(flux >= clear_signal_to_noise * err)) continue;  // nor where the noise is not known
            offers.emplace_back(star.label, star.catalogue_mag - magnitude_difference(flux, 1.0));
            values.push_back(offers.back().second);
        }
        if (values.size() < stars_to_judge) continue;
        const double middle = numerics::median(values);
        for (const auto& [label, value] : offers)
            misses[label].push_back(middle - value);  // measured minus catalogue
    }
    std::map<std::string, double> middles;
    for (auto& [label, values] : misses)
        middles[label] = numerics::median(std::move(values));
    return middles;
}

// A misprinted magnitude or another star at that place would bend the colour term, however little it weighs.
void set_wrong_stars_aside(BandSolution& band) {
    for (const auto& [label, miss] : catalogue_misses(band)) {
        const auto star =
            std::find_if(band.stars.begin(), band.stars.end(),
                         [&name = label](const standard::SolveStar& s) { return s.label == name; });
        if (std::abs(miss) < std::max(wrong_mag, wrong_sigma * star->catalogue_err_mag)) continue;
        band.wrong_stars.push_back(
            {band.instrument, band.band, label, miss, star->catalogue_err_mag, 0.0, 0.0, true,
             fmt::format("It measures {:.2f} where the sequence says {:.2f}, and was left out.",
                         star->catalogue_mag + miss, star->catalogue_mag)});
        band.stars.erase(star);
    }
}

void judge_shape(std::vector<JudgedFrame>& frames, const MeasureSettings& settings) {
    for (JudgedFrame& frame : frames) {
        if (!frame.refusal.empty()) continue;
        const StarFlux* transient = frame.fluxes->find(photometry::transient_label);
        if (!frame.aperture) {
            frame.refusal =
                settings.aperture_fwhm || settings.aperture_arcsec
                    ? "It was measured before that aperture was asked for: measure it again."
                    : "Its grid of apertures lacks the one in use: its seeing is too far from the others'.";
        } else if (frame.fluxes->elongation > settings.refuse_elongation) {
            frame.refusal = fmt::format("Its stars are trailed: {:.2f} times as long as wide, above {:.2f}.",
                                        frame.fluxes->elongation, settings.refuse_elongation);
        } else if (transient == nullptr || !measured(*frame.fluxes, *transient, *frame.aperture)) {
            frame.refusal = "The transient was not measured in it.";
        } else if (light_lost(*frame.fluxes, *transient, *frame.aperture)) {
            frame.refusal =
                "The transient is saturated in it, by the saturation that its header or campaign.toml "
                "states, or "
                "cut by its edge.";
        }
    }
}

// Light let through, as the zero point of one second outside the atmosphere: magnitudes, larger is clearer.
double clearness(const JudgedFrame& frame, const standard::ZeroPoints& solved) {
    const double airmass = frame.fluxes->airmass.value_or(1.0);
    return solved.frames[*frame.solved].zero_point_mag - 2.5 * std::log10(frame.fluxes->exposure_s) +
           facts(frame.fluxes->band).extinction_mag_per_airmass * airmass;
}

// The middle of a night's three clearest frames: one lucky or wrong frame does not set the mark.
std::map<std::string, double> best_of_nights(const std::vector<JudgedFrame>& frames,
                                             const standard::ZeroPoints& solved) {
    std::map<std::string, std::vector<double>> nights;
    for (const JudgedFrame& frame : frames) {
        if (frame.solved && solved.frames[*frame.solved].determined)
            nights[frame.fluxes->night].push_back(clearness(frame, solved));
    }
    std::map<std::string, double> best;
    for (auto& [night, values] : nights) {
        std::sort(values.begin(), values.end(), std::greater<>());
        best[night] = values.size() >= 3 ? values[1] : values[0];
    }
    return best;
}

// Returns whether a frame was refused, so that the rest must be solved again without it.
bool judge_light(std::vector<JudgedFrame>& frames, const standard::ZeroPoints& solved,
                 const MeasureSettings& settings) {
    const auto best = best_of_nights(frames, solved);
    bool refused = false;
    for (JudgedFrame& frame : frames) {
        if (!frame.solved) continue;
        const standard::FrameZeroPoint& zero = solved.frames[*frame.solved];
        if (!zero.determined || zero.stars == 0) {
            frame.refusal = "None of its comparison stars can be used.";
            refused = true;
            continue;
        }
        const double lost_mag = best.at(frame.fluxes->night) - clearness(frame, solved);
        frame.relative_transparency = flux_ratio(lost_mag);
        frame.caveats = {};
        frame.extra_scatter_mag = 0.0;
        if (lost_mag > settings.refuse_cloud_mag) {
            frame.refusal = fmt::format("Cloud took {:.2f} mag against the night's best, more than {:.2f}.",
                                        lost_mag, settings.refuse_cloud_mag);
            refused = true;
            continue;
        }
        if (lost_mag > settings.cloud_mag) frame.caveats.add(Caveat::cloud);
        if (zero.extra_scatter_mag > 0.0 ||
            (zero.scatter_mag > uneven_mag && beyond_chance(zero.chi2, zero.dof))) {
            frame.caveats.add(Caveat::uneven_transparency);
        }
        frame.extra_scatter_mag = zero.extra_scatter_mag;
        if (zero.stars < 3) frame.caveats.add(Caveat::few_comparison_stars);
    }
    return refused;
}

void name_comparison_stars(std::vector<JudgedFrame>& frames, const standard::SolveInput& input,
                           const standard::ZeroPoints& solved) {
    std::vector<std::vector<std::string>> labels(input.frames);
    for (std::size_t i = 0; i < input.observations.size(); ++i) {
        const auto& o = input.observations[i];
        if (solved.weights[i] > used_weight) labels[o.frame].push_back(input.stars[o.star].label);
    }
    for (JudgedFrame& frame : frames) {
        if (frame.solved) frame.comparison_labels = labels[*frame.solved];
    }
}

}  // namespace

std::vector<standard::SolveStar> calibrating_stars(const standard::Sequence& sequence, const Band& band,
                                                   const std::set<std::string>& usable) {
    const auto index = usual_colour(band);
    std::vector<standard::SolveStar> stars;
    for (const standard::ComparisonStar& star : sequence.stars) {
        const auto magnitude = star.magnitude(sequence_band(band));
        if (!usable.contains(star.label) || !magnitude) continue;
        standard::SolveStar entry{star.label, magnitude->value, magnitude->err, std::nullopt, 0.0, 0.0};
        if (const auto colour = index ? star.colour(*index) : std::nullopt) {
            const double variance = magnitude->err * magnitude->err;
            entry.colour_mag = colour->value;
            entry.colour_err_mag = colour->err;
            entry.colour_covariance_mag2 = index->red == sequence_band(band)    ? -variance
                                           : index->blue == sequence_band(band) ? variance
                                                                                : 0.0;
        }
        stars.push_back(std::move(entry));
    }
    return stars;
}

ValueWithError colour_term_prior(const Band& band, const std::string& instrument, const Campaign& campaign) {
    if (const auto terms = campaign.colour_terms.find(instrument); terms != campaign.colour_terms.end()) {
        if (const auto term = terms->second.find(band.name()); term != terms->second.end())
            return term->second;
    }
    return usual_colour_term(band);
}

ValueWithError extinction_prior(const Band& band, const std::string& instrument, const Campaign& campaign) {
    if (const auto known = campaign.known_extinction.find(instrument);
        known != campaign.known_extinction.end()) {
        if (const auto term = known->second.find(band.name()); term != known->second.end())
            return term->second;
    }
    const BandFacts& about = facts(band);
    return {about.extinction_mag_per_airmass, about.extinction_err};
}

standard::SolveInput gather_lights(std::vector<JudgedFrame>& frames,
                                   const std::vector<standard::SolveStar>& stars, const Band& band,
                                   const std::string& instrument, const Campaign& campaign) {
    standard::SolveInput input;
    input.stars = stars;
    input.extinction_prior = extinction_prior(band, instrument, campaign);
    input.fit_colour_term = campaign.measure.colour_term;
    input.colour_term_prior = colour_term_prior(band, instrument, campaign);
    for (JudgedFrame& frame : frames) {
        frame.solved.reset();
        if (!frame.refusal.empty()) continue;
        const std::size_t number = input.frames++;
        frame.solved = number;
        const std::size_t k = *frame.aperture;
        for (std::size_t i = 0; i < stars.size(); ++i) {
            const StarFlux* star = frame.fluxes->find(stars[i].label);
            if (star == nullptr || light_lost(*frame.fluxes, *star, k) || !measured(*frame.fluxes, *star, k))
                continue;
            double difference = 0.0;
            if (star->airmass && frame.fluxes->airmass) difference = *star->airmass - *frame.fluxes->airmass;
            input.observations.push_back(
                {number, i, star->flux_e[k], noise_terms(*frame.fluxes, *star, k), difference});
        }
    }
    return input;
}

BandSolution solve_band(std::vector<JudgedFrame> frames, const standard::Sequence& sequence,
                        const std::set<std::string>& usable, const Campaign& campaign) {
    BandSolution out;
    out.band = frames.front().fluxes->band;
    out.instrument = frames.front().fluxes->instrument;
    out.frames = std::move(frames);
    out.stars = calibrating_stars(sequence, out.band, usable);
    judge_shape(out.frames, campaign.measure);
    if (out.stars.empty()) {
        out.no_solution =
            fmt::format("No comparison star has a magnitude in band {}.", sequence_band(out.band).name());
    }
    set_wrong_stars_aside(out);
    // Refusing frames can only make the rest clearer; a third round would change nothing that matters.
    for (int round = 0; round < 3 && out.no_solution.empty(); ++round) {
        const standard::SolveInput input =
            gather_lights(out.frames, out.stars, out.band, out.instrument, campaign);
        if (input.frames == 0) break;
        auto solved = standard::solve_zero_points(input);
        if (!solved) {
            out.no_solution = one_line(solved.error());
            out.zero_points.reset();  // an earlier round's numbering of frames is gone
            break;
        }
        const bool refused = judge_light(out.frames, *solved, campaign.measure);
        name_comparison_stars(out.frames, input, *solved);
        out.common = standard::split_common_errors(*solved);
        out.colour_term_prior = campaign.measure.colour_term ? input.colour_term_prior : ValueWithError{};
        out.zero_points = std::move(*solved);
        if (!refused) break;
    }
    for (JudgedFrame& frame : out.frames) {
        if (!frame.refusal.empty()) continue;
        if (!frame.solved || !out.zero_points || !out.zero_points->frames[*frame.solved].determined) {
            frame.refusal =
                out.no_solution.empty() ? "None of its comparison stars can be used." : out.no_solution;
        }
    }
    return out;
}

std::optional<StarOverNight> star_over_night(const BandSolution& solution,
                                             const std::vector<std::size_t>& members,
                                             const std::string& label) {
    StarOverNight out;
    std::vector<StarInFrame> inputs;
    std::vector<frame::PixelPosition> positions;
    std::vector<double> errs;  // of those places
    for (const std::size_t m : members) {
        const JudgedFrame& frame = solution.frames[m];
        const StarFlux* star = frame.fluxes->find(label);
        if (star == nullptr || !measured(*frame.fluxes, *star, *frame.aperture)) continue;
        if (light_lost(*frame.fluxes, *star, *frame.aperture)) continue;
        const standard::FrameZeroPoint& zero = solution.zero_points->frames[*frame.solved];
        inputs.push_back({star->flux_e[*frame.aperture], noise_terms(*frame.fluxes, *star, *frame.aperture),
                          zero.zero_point_mag, zero.random_err_mag,
                          std::hypot(solution.zero_points->scatter_floor_mag, frame.extra_scatter_mag)});
        positions.push_back(star->position);
        errs.push_back(place_err(*star, *frame.aperture));
        out.members.push_back(m);
    }
    if (inputs.empty()) return std::nullopt;
    out.combined = combine_frames(inputs);
    const std::vector<std::size_t> places = numbered_places(positions);
    std::vector<PlacedError> placed;
    for (std::size_t i = 0; i < out.members.size(); ++i)
        placed.push_back({places[i], out.combined.share[i] * errs[i]});
    const double light_e = std::max(out.combined.flux_e.value, 0.0);
    out.combined.flux_e.err =
        std::hypot(out.combined.flux_e.err, light_e * std::sqrt(shared_place_variance(placed)));
    out.gradient.assign(solution.zero_points->global_names.size(), 0.0);
    for (std::size_t i = 0; i < out.members.size(); ++i) {
        const auto& zero = solution.zero_points->frames[*solution.frames[out.members[i]].solved];
        for (std::size_t j = 0; j < out.gradient.size(); ++j)
            out.gradient[j] += out.combined.share[i] * zero.gradient[j];
    }
    return out;
}

}  // namespace emberline::night
