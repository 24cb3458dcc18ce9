// SPDX-License-Identifier: MIT
#include "night/standard_field.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "night/aperture_grid.hpp"
#include "night/frame_needs.hpp"
#include "night/measure_frame.hpp"
#include "night/solve_band.hpp"
#include "night/star_noise.hpp"
#include "numerics/robust.hpp"
#include "standard/star_neighbours.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;

constexpr double isolation_arcsec = 15.0;
constexpr double most_added_mmag = 10.0;
constexpr double aperture_fwhm = 2.1;  // of aperture_grid(): all but some per cent of a star's light
constexpr double least_signal_to_noise = 10.0;

standard::Sequence stars_on(const frame::Frame& frame, const frame::Wcs& wcs, const Band& band,
                            const standard::Sequence& catalogue) {
    std::vector<const standard::ComparisonStar*> inside;
    std::vector<standard::Neighbour> all;
    for (const standard::ComparisonStar& star : catalogue.stars) {
        const auto magnitude = star.magnitude(sequence_band(band));
        const auto where = wcs.pixel(star.position);
        if (!magnitude || !where || !frame.facts().holds(*where)) continue;
        all.push_back({star.position, magnitude->value});
        if (star.role != standard::Role::ignore) inside.push_back(&star);
    }
    const standard::StarNeighbours neighbours(all);
    std::erase_if(inside, [&](const standard::ComparisonStar* star) {
        const double magnitude = star->magnitude(sequence_band(band))->value;
        return neighbours.added_mmag({star->position, magnitude}, isolation_arcsec) > most_added_mmag;
    });
    std::sort(inside.begin(), inside.end(), [&](const auto* a, const auto* b) {
        return a->magnitude(sequence_band(band))->value < b->magnitude(sequence_band(band))->value;
    });
    if (inside.size() > most_field_stars) inside.resize(most_field_stars);
    standard::Sequence out;
    out.source = catalogue.source;
    out.bands = catalogue.bands;
    for (const standard::ComparisonStar* star : inside) {
        out.stars.push_back(*star);
        out.stars.back().role = standard::Role::comparison;
    }
    return out;
}

// The same instruments, site and ways of measuring about another place, without what belongs to a transient.
Campaign about(const SkyPosition& middle, const Campaign& campaign) {
    Campaign out = campaign;
    out.position = middle;
    out.nucleus.reset();
    out.host_templates.clear();
    out.check_label.clear();
    out.measure.aperture_fwhm.reset();
    out.measure.aperture_arcsec.reset();
    out.measure.psf = false;
    return out;
}

// Stars that are hardly seen would be chosen by their noise.
std::vector<standard::SolveStar> clear_stars(const std::vector<JudgedFrame>& frames,
                                             std::vector<standard::SolveStar> stars) {
    std::erase_if(stars, [&](const standard::SolveStar& star) {
        std::vector<double> clearness;
        for (const JudgedFrame& frame : frames) {
            const auto* light = frame.fluxes->find(star.label);
            if (!frame.refusal.empty() || light == nullptr) continue;
            const double flux = light->flux_e[*frame.aperture];
            const double variance =
                noise_terms(*frame.fluxes, *light, *frame.aperture).variance_e2(std::max(flux, 0.0));
            clearness.push_back(flux / std::sqrt(variance));
        }
        return clearness.empty() || !(numerics::median(std::move(clearness)) >= least_signal_to_noise);
    });
    return stars;
}

Result<BandTransformation> transform_band(std::vector<JudgedFrame> frames, const standard::Sequence& sequence,
                                          const std::set<std::string>& usable, const Campaign& campaign) {
    BandTransformation out;
    out.band = frames.front().fluxes->band;
    out.instrument = frames.front().fluxes->instrument;
    const auto index = usual_colour(out.band);
    if (!index) return fail({.what = "No colour index belongs to this band."});
    out.index = *index;
    const auto stars = clear_stars(frames, calibrating_stars(sequence, out.band, usable));
    standard::TransformationInput input;
    input.solve = gather_lights(frames, stars, out.band, out.instrument, campaign);
    for (const JudgedFrame& frame : frames) {
        if (!frame.solved) continue;
        input.air.push_back({frame.fluxes->night, frame.fluxes->airmass, frame.fluxes->exposure_s});
        if (std::find(out.nights.begin(), out.nights.end(), frame.fluxes->night) == out.nights.end())
            out.nights.push_back(frame.fluxes->night);
    }
    std::sort(out.nights.begin(), out.nights.end());
    auto found = standard::find_transformation(input);
    if (!found) return fail(found.error());
    out.found = std::move(*found);
    return out;
}

}  // namespace

Result<FrameFluxes> measure_field(const frame::Frame& frame, std::string name, std::string fingerprint,
                                  const standard::Sequence& catalogue, const Campaign& campaign) {
    const auto needs = needs_of(frame.facts());
    if (!needs) return fail(needs.error());
    if (!frame.wcs()) return fail(frame.wcs().error());
    const frame::Wcs& wcs = *frame.wcs();
    const auto middle = wcs.sky(frame.facts().middle());
    const standard::Sequence stars = stars_on(frame, wcs, needs->band, catalogue);
    if (!middle || stars.stars.empty()) {
        return fail({.what = fmt::format("No star of the catalogue with a magnitude in {} lies on the frame, "
                                         "clear of its neighbours.",
                                         sequence_band(needs->band).name()),
                     .where = frame.facts().path,
                     .mend = "Take a catalogue of this field, with that band or the colours that give it."});
    }
    return measure_frame(frame, std::move(name), std::move(fingerprint), stars, about(*middle, campaign));
}

Transformations find_transformations(const std::vector<FrameFluxes>& frames, const standard::Sequence& stars,
                                     const std::set<std::string>& usable, const Campaign& campaign) {
    std::map<std::pair<std::string, Band>, std::vector<JudgedFrame>> groups;
    for (const FrameFluxes& frame : frames) {
        JudgedFrame entry;
        entry.fluxes = &frame;
        entry.aperture = find_multiple(frame.apertures, aperture_fwhm);
        if (!entry.aperture || frame.elongation > campaign.measure.refuse_elongation) continue;
        groups[{frame.instrument, frame.band}].push_back(std::move(entry));
    }
    Transformations out;
    for (auto& [key, members] : groups) {
        auto found = transform_band(std::move(members), stars, usable, campaign);
        if (found) {
            out.bands.push_back(std::move(*found));
        } else {
            out.remarks.push_back(
                fmt::format("{}, {}: {}", key.second.name(), key.first, one_line(found.error())));
        }
    }
    return out;
}

}  // namespace emberline::night
