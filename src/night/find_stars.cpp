// SPDX-License-Identifier: MIT
#include "night/find_stars.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/aperture_grid.hpp"
#include "night/no_stars.hpp"
#include "night/position_slip.hpp"
#include "numerics/robust.hpp"
#include "photometry/star_flux.hpp"

namespace emberline::night {
namespace {

constexpr double usual_fwhm_arcsec = 3.5;  // before anything is known; common practice, no source
constexpr double least_shift_px = 3.0;
constexpr std::size_t most_profiles = 6;  // more do not sharpen a median worth the time
// A centre off by 0.06 FWHM loses under 0.3 % of a Gaussian's light within one FWHM, and noise of a faint
// star is not followed.
constexpr double centred_on_itself_fwhm = 0.06;  // centroid error below this part of the FWHM
constexpr double wrong_star_fwhm = 1.0;          // further from its place: another star was taken

Result<std::vector<StarOnFrame>> predict(const frame::Frame& frame, const frame::Wcs& wcs, const Band& band,
                                         const standard::Sequence& sequence, const Campaign& campaign) {
    std::vector<StarOnFrame> stars;
    const frame::FrameFacts& facts = frame.facts();
    const auto place = wcs.pixel(campaign.position);
    if (!place || !facts.holds(*place)) {
        std::string centre;
        if (const auto middle = wcs.sky(facts.middle())) {
            centre = fmt::format(" The frame is centred on {} {}, {} from there.",
                                 sexagesimal_hours(middle->ra, 0), sexagesimal_degrees(middle->dec, 0),
                                 apart_text(separation(*middle, campaign.position)));
        }
        centre += slip_sentence(campaign.position, taken(facts),
                                [&](const SkyPosition& p) { return lies_on(facts, wcs, p); });
        return fail({.what = fmt::format("The transient at {} {} lies off the frame.{}",
                                         sexagesimal_hours(campaign.position.ra, 1),
                                         sexagesimal_degrees(campaign.position.dec, 0), centre),
                     .where = facts.path,
                     .mend = lost_transient_mend});
    }
    StarOnFrame transient;
    transient.label = photometry::transient_label;
    transient.place = campaign.position;
    transient.transient = true;
    transient.predicted = *place;
    stars.push_back(std::move(transient));
    for (const standard::ComparisonStar& star : sequence.stars) {
        if (!takes_part(star, campaign)) continue;
        const auto where = wcs.pixel(star.position);
        if (!where || !facts.holds(*where)) continue;
        StarOnFrame entry;
        entry.label = star.label;
        entry.place = star.position;
        entry.comparison = star.role == standard::Role::comparison && star.label != campaign.check_label &&
                           star.magnitude(sequence_band(band)).has_value();
        entry.predicted = *where;
        stars.push_back(std::move(entry));
    }
    return stars;
}

Result<void> read_cutouts(const frame::Frame& frame, std::vector<StarOnFrame>& stars, double half_px) {
    std::vector<frame::PixelBox> boxes;
    boxes.reserve(stars.size());
    for (const StarOnFrame& star : stars)
        boxes.push_back(box_around(star.predicted, half_px));
    auto cutouts = frame.read(boxes);
    if (!cutouts) return fail(cutouts.error());
    for (std::size_t i = 0; i < stars.size(); ++i)
        stars[i].cutout = std::move((*cutouts)[i]);
    return {};
}

// A frame that holds no picture is told from one whose stars are hidden.
Result<void> holds_a_picture(const std::vector<StarOnFrame>& stars, const FrameNeeds& needs,
                             const std::string& path) {
    std::size_t pixels = 0, undefined = 0, saturated = 0;
    std::optional<float> first;
    bool varies = false;
    for (const StarOnFrame& star : stars) {
        for (const float v : star.cutout.adu) {
            ++pixels;
            if (!std::isfinite(v)) {
                ++undefined;
                continue;
            }
            if (!first) first = v;
            varies = varies || v != *first;
            if (static_cast<double>(v) >= needs.saturation_adu) ++saturated;
        }
    }
    if (undefined == pixels) {
        return fail({.what = "The frame has no defined pixel where the stars should be.",
                     .where = path,
                     .mend = "Save the frame again from its source; NaN and BLANK pixels hold no light."});
    }
    if (2 * saturated > pixels - undefined) {
        return fail(
            {.what = fmt::format("The sky itself is saturated: most pixels are at {:.0f} ADU or above.",
                                 needs.saturation_adu),
             .where = path,
             .mend = "Expose for less time, or correct the saturation in campaign.toml."});
    }
    if (!varies) {
        return fail({.what = fmt::format("All pixels have one value, {:g} ADU.", static_cast<double>(*first)),
                     .where = path,
                     .mend = "The frame holds no picture: leave it out, or save it again from its source."});
    }
    return {};
}

void find(StarOnFrame& star, const frame::PixelPosition& start, double fwhm_px, double most_shift_px,
          const FrameNeeds& needs) {
    star.centroid.reset();
    const auto found =
        stars::measure_centroid(star.cutout, start, fwhm_px, most_shift_px, needs.gain_e_per_adu);
    if (found) star.centroid = *found;
}

stars::Registration register_stars(const std::vector<StarOnFrame>& stars) {
    std::vector<stars::PositionPair> pairs;
    for (const StarOnFrame& star : stars) {
        if (star.transient || !star.centroid) continue;
        pairs.push_back({star.predicted, star.centroid->position,
                         std::hypot(star.centroid->x_err_px, star.centroid->y_err_px) / std::sqrt(2.0)});
    }
    return stars::register_positions(pairs);
}

double median_width(const std::vector<StarOnFrame>& stars, double otherwise) {
    std::vector<double> widths;
    for (const StarOnFrame& star : stars) {
        if (!star.transient && star.centroid) widths.push_back(star.centroid->fwhm_px);
    }
    return widths.empty() ? otherwise : numerics::median(std::move(widths));
}

// The brightest that are not saturated, since those shape the profile best.
stars::FrameProfile fit_profiles(std::vector<StarOnFrame>& stars, double fwhm_px, const FrameNeeds& needs,
                                 const stars::PixelSquare& square) {
    std::vector<StarOnFrame*> bright;
    for (StarOnFrame& star : stars) {
        if (!star.transient && star.centroid && star.centroid->peak_adu < needs.linear_to_adu)
            bright.push_back(&star);
    }
    std::sort(bright.begin(), bright.end(), [](const StarOnFrame* a, const StarOnFrame* b) {
        return a->centroid->peak_adu > b->centroid->peak_adu;
    });
    std::vector<stars::StarProfile> profiles;
    for (StarOnFrame* star : bright) {
        if (profiles.size() == most_profiles) break;
        const auto fitted = stars::fit_profile(star->cutout, star->centroid->position, fwhm_px,
                                               needs.gain_e_per_adu, needs.read_noise_e, square);
        if (!fitted) continue;
        star->profile = *fitted;
        profiles.push_back(*fitted);
    }
    return stars::combine(profiles);
}

void settle_positions(StarField& field) {
    for (StarOnFrame& star : field.stars) {
        const frame::PixelPosition expected = field.registration.apply(star.predicted);
        star.position = expected;
        star.position_err_px = field.registration.err_px;
        star.forced = true;
        if (star.transient || !star.centroid) continue;
        const double err = std::max(star.centroid->x_err_px, star.centroid->y_err_px);
        if (err > centred_on_itself_fwhm * field.profile.fwhm_px) continue;
        star.position = star.centroid->position;
        star.position_err_px = err;
        star.forced = false;
    }
}

}  // namespace

frame::PixelBox box_around(const frame::PixelPosition& place, double half_px) {
    const int half = static_cast<int>(std::ceil(half_px));
    return {static_cast<int>(std::lround(place.x)) - half, static_cast<int>(std::lround(place.y)) - half,
            2 * half + 1, 2 * half + 1};
}

stars::PixelSquare gathering_square(const frame::FrameFacts& facts) {
    if (!facts.lattice) return {};
    return {facts.lattice->pixel_side(), facts.lattice->turned()};
}

bool takes_part(const standard::ComparisonStar& star, const Campaign& campaign) {
    return star.role != standard::Role::ignore || star.label == campaign.check_label;
}

Result<StarField> find_stars(const frame::Frame& frame, const frame::Wcs& wcs, const FrameNeeds& needs,
                             const standard::Sequence& sequence, const Campaign& campaign) {
    auto predicted = predict(frame, wcs, needs.band, sequence, campaign);
    if (!predicted) return fail(predicted.error());
    StarField field;
    field.stars = std::move(*predicted);
    const std::string& path = frame.facts().path;
    for (const StarOnFrame& star : field.stars)
        field.expected += star.comparison ? 1 : 0;

    const double scale = wcs.scale_arcsec_per_px();
    double fwhm_px = std::clamp(usual_fwhm_arcsec / scale, 2.0, 12.0);
    const double most_shift_px = std::max(least_shift_px, campaign.measure.most_shift_arcsec / scale);
    const double half_px = most_shift_px + campaign.measure.annulus_outer_fwhm * fwhm_px + 2.0;
    if (auto good = read_cutouts(frame, field.stars, half_px); !good) return fail(good.error());
    if (auto good = holds_a_picture(field.stars, needs, path); !good) return fail(good.error());

    for (StarOnFrame& star : field.stars) {
        if (!star.transient) find(star, star.predicted, fwhm_px, most_shift_px, needs);
    }
    fwhm_px = median_width(field.stars, fwhm_px);
    field.registration = register_stars(field.stars);
    // Again about the common shift: a neighbour or a cosmic ray taken for the star is let go.
    for (StarOnFrame& star : field.stars) {
        if (!star.transient)
            find(star, field.registration.apply(star.predicted), fwhm_px, wrong_star_fwhm * fwhm_px + 1.0,
                 needs);
    }
    field.registration = register_stars(field.stars);
    for (const StarOnFrame& star : field.stars)
        field.found += star.comparison && star.centroid ? 1 : 0;
    if (field.expected == 0) return fail(no_stars(frame.facts(), wcs, needs.band, sequence, campaign));
    if (field.found < campaign.measure.least_comparison_stars) {
        return fail(
            {.what = fmt::format("{} of {} comparison stars of band {} were found; {} needed.", field.found,
                                 field.expected, needs.band.name(), campaign.measure.least_comparison_stars),
             .where = path,
             .mend = field.expected < campaign.measure.least_comparison_stars
                         ? "Add comparison stars with magnitudes in that band to the sequence."
                         : lost_stars_mend});
    }
    field.profile = fit_profiles(field.stars, fwhm_px, needs, gathering_square(frame.facts()));
    if (field.profile.stars == 0) field.profile.fwhm_px = fwhm_px;
    settle_positions(field);
    const auto grid = aperture_grid(field.profile.fwhm_px, scale, campaign.measure);
    const double outer_px = annulus_around(grid, field.profile.fwhm_px, scale, campaign.measure).outer_px;
    const double needed_px = std::hypot(field.registration.dx_px, field.registration.dy_px) + outer_px + 2.0;
    if (needed_px > half_px) {
        if (auto good = read_cutouts(frame, field.stars, needed_px); !good) return fail(good.error());
    }
    return field;
}

}  // namespace emberline::night
