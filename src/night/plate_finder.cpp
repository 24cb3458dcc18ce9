// SPDX-License-Identifier: MIT
#include "night/plate_finder.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/chip_evidence.hpp"
#include "night/frame_needs.hpp"
#include "night/plate_attempts.hpp"
#include "night/position_slip.hpp"
#include "night/settle_stack.hpp"
#include "stars/chip_marks.hpp"

namespace emberline::night {
namespace {

constexpr std::size_t most_stars = 300;  // more add time, and no certainty
constexpr std::size_t few_stars = 12;
constexpr double usual_fwhm_px = 3.0;  // common practice, no source
constexpr std::size_t least_reference_stars = 5;
constexpr double near_enough_deg = 10.0;  // further off, a catalogue is another field's
constexpr std::size_t enough_sequence_stars = 3;
constexpr double least_star_err_px = 0.05;  // what a frame's own solution is off by from place to place

Result<stars::DetectionField> stars_on(const frame::Frame& frame) {
    const FrameNeeds stated = light_needs(frame.facts());
    const FrameNeeds needs = in_unit(stated, unit_of(frame, stated));
    stars::DetectionSettings settings{
        .gain_e_per_adu = needs.gain_e_per_adu, .saturation_adu = needs.saturation_adu, .most = most_stars};
    auto field = stars::detect_stars(frame, settings);
    if (!field) return fail(field.error());
    // A bright line across the picture can pass for its stars' width, and hide them all.
    if (field->stars.size() < few_stars && !field->trails.empty()) {
        settings.fwhm_px = usual_fwhm_px;
        auto again = stars::detect_stars(frame, settings);
        if (again && again->stars.size() > field->stars.size()) field = std::move(again);
    }
    const auto& lattice = frame.facts().lattice;
    if (lattice) {
        for (stars::Detection& star : field->stars) {
            star.position = lattice->stored(star.position);
            star.err_px *= lattice->pitch_px();
        }
        for (stars::LightTrail& trail : field->trails) {
            trail.from = lattice->stored(trail.from);
            trail.to = lattice->stored(trail.to);
        }
    }
    field->width_px = frame.facts().stored_width_px();
    field->height_px = frame.facts().stored_height_px();
    return field;
}

std::vector<stars::PictureStar> picture_stars(const stars::DetectionField& field) {
    std::vector<stars::PictureStar> out;
    for (const stars::Detection& star : field.stars) {
        if (star.flux_adu > 0.0) out.push_back({star.position, star.err_px, star.flux_adu});
    }
    return out;
}

// How the stars look, where that explains why nothing agrees.
std::string looks_of(const stars::DetectionField& field) {
    if (field.trailed) return fmt::format(" They are drawn out, {:.1f} to 1.", field.elongation);
    if (field.doubled) return " They are seen twice: the mount jumped during the exposure.";
    return {};
}

class Search {
  public:
    Search(const standard::Sequence& sequence, const FieldReference* reference,
           const stars::DetectionField& field, const PlateSearch& search)
        : sequence_(sequence),
          reference_(reference),
          field_(field),
          stars_(picture_stars(field)),
          most_order_(search.most_order),
          any_field_(search.any_field) {}

    // Nothing where that source gives no solution that can be trusted.
    std::optional<stars::PlateSolution> against(const PlateSource& source) {
        tried_.push_back(
            fmt::format("{} ({} star{})", source.name, source.stars, source.stars == 1 ? "" : "s"));
        for (std::size_t i = 0; i < source.attempts; ++i) {
            PlateAttempt attempt = source.attempt(i);
            attempt.hints.most_order = most_order_;
            auto solution = solve(stars_, attempt.references, attempt.hints);
            if (solution && source.solved_frame) solution = checked(std::move(*solution), attempt.hints);
            if (solution) return std::move(*solution);
            if (reason_.empty()) reason_ = solution.error().what;
        }
        return std::nullopt;
    }

    [[nodiscard]] Problem problem(const std::string& path) const {
        std::string known;
        for (const std::string& name : tried_)
            known += (known.empty() ? "" : ", ") + name;
        if (tried_.empty()) {
            return {.what =
                        "No plate solution, and nothing to make one from: no solved frame, no catalogue, "
                        "no sequence.",
                    .where = path,
                    .mend =
                        "Name a catalogue of the field under [plate] in campaign.toml, or solve one "
                        "frame's plate."};
        }
        return {.what = fmt::format("No plate solution was found for its {} star{}, matched with {}.{} {}",
                                    stars_.size(), stars_.size() == 1 ? "" : "s", known, looks_of(field_),
                                    reason_),
                .where = path,
                .mend = any_field_
                            ? "Look at the frame: cloud, trails or another field. The scale helps, where it "
                              "is known."
                            : "Look at the frame: cloud, trails or another field. A catalogue of the field "
                              "under [plate] in campaign.toml helps where the field is right."};
    }

  private:
    [[nodiscard]] Result<stars::PlateSolution> solve(const std::vector<stars::PictureStar>& here,
                                                     const std::vector<stars::ReferenceStar>& there,
                                                     const stars::PlateHints& hints) const {
        return stars::solve_plate(here, field_.width_px, field_.height_px, there, hints);
    }

    [[nodiscard]] bool still(const stars::PlateSolution& solution) const {
        const auto map = map_from(*reference_, solution.fit.wcs);
        return map && stands_still(*map, field_.width_px, field_.height_px);
    }

    // Hot pixels that both frames show agree with each other wherever the telescope pointed. Where the sky
    // seems to have stood still, that is believed of stars alone.
    [[nodiscard]] Result<stars::PlateSolution> checked(stars::PlateSolution solution,
                                                       const stars::PlateHints& hints) const {
        if (!still(solution)) return solution;
        const Unshared rest = without_shared_places(stars_, *reference_);
        if (rest.here.size() >= 3 && rest.there.size() >= 3) {
            auto other = solve(rest.here, rest.there, hints);
            if (other && !still(*other)) return other;
        }
        const double reach_px = std::max(2.0, 3.0 * solution.fit.rms_px);
        const SequenceSeen seen =
            sequence_seen(stars_, solution.fit.wcs, reach_px, field_.width_px, field_.height_px, sequence_);
        const bool by_sequence = seen.seen >= std::min(enough_sequence_stars, seen.on_frame);
        const bool by_number = 2 * solution.matched >= solution.references_in_field;
        if (by_sequence && (seen.on_frame >= enough_sequence_stars || by_number)) return solution;
        return fail({.what = fmt::format("What agrees with {} lies on the same pixels there: marks of the "
                                         "chip, no stars.",
                                         reference_->frame),
                     .where = {},
                     .mend = {}});
    }

    const standard::Sequence& sequence_;
    const FieldReference* reference_;
    const stars::DetectionField& field_;
    std::vector<stars::PictureStar> stars_;
    int most_order_;
    bool any_field_;
    std::vector<std::string> tried_;
    std::string reason_;
};

Problem another_field(const frame::Wcs& wcs, const stars::DetectionField& field, const Campaign& campaign,
                      const std::string& against, const std::string& path) {
    std::string where;
    if (const auto middle = wcs.sky({0.5 * (field.width_px - 1.0), 0.5 * (field.height_px - 1.0)})) {
        where = fmt::format(" By its stars, matched with {}, it is centred on {} {}, {} from there.", against,
                            sexagesimal_hours(middle->ra, 0), sexagesimal_degrees(middle->dec, 0),
                            apart_text(separation(*middle, campaign.position)));
    }
    return {.what = fmt::format("The transient at {} {} lies off the frame.{}",
                                sexagesimal_hours(campaign.position.ra, 1),
                                sexagesimal_degrees(campaign.position.dec, 0), where),
            .where = path,
            .mend = "Leave the frame out, or check the position in campaign.toml."};
}

// What moves with the chip is no star.
void drop_marks(stars::DetectionField& field, const FieldReference& reference, const frame::Wcs& wcs) {
    const auto map = map_from(reference, wcs);
    if (!map) return;
    std::vector<frame::PixelPosition> here;
    for (const stars::Detection& star : field.stars)
        here.push_back(star.position);
    std::vector<bool> mark(here.size(), false);
    for (const std::size_t i : stars::chip_marks(here, reference.places, *map, chip_reach_px))
        mark.at(i) = true;
    std::size_t next = 0;
    field.hot_pixels += static_cast<std::size_t>(std::count(mark.begin(), mark.end(), true));
    std::erase_if(field.stars, [&](const stars::Detection&) { return mark[next++]; });
}

}  // namespace

const frame::Frame& telling_frame(const std::vector<frame::Frame>& frames) {
    return frames.size() == 3 ? frames[1] : frames.front();
}

PlateFinder::PlateFinder(const Campaign& campaign, const standard::Sequence& sequence,
                         const PlateSearch& search)
    : campaign_(campaign), sequence_(sequence), search_(search) {
    const PlateSettings& plate = campaign.plate;
    if (plate.catalogue.empty()) return;
    auto read = standard::read_field_catalogue(campaign.path(plate.catalogue), plate.catalogue_epoch);
    if (!read) {
        refused_catalogue_ = read.error();
        return;
    }
    for (const std::string& remark : read->remarks)
        remarks_.push_back(fmt::format("{}: {}", plate.catalogue, remark));
    const bool near =
        std::any_of(read->stars.begin(), read->stars.end(), [&](const standard::CatalogueStar& star) {
            return separation(star.position, campaign.position).degrees() < near_enough_deg;
        });
    if (!near && !search.any_field) {
        remarks_.push_back(fmt::format("{}: none of its {} stars lies within {:.0f}° of the transient.",
                                       plate.catalogue, read->stars.size(), near_enough_deg));
    }
    catalogue_ = std::move(*read);
}

Result<FieldReference> PlateFinder::reference_from(const frame::Frame& frame, std::string fingerprint,
                                                   std::string name) {
    const auto& wcs = frame.wcs();
    if (!wcs) return fail(wcs.error());
    const auto& lattice = frame.facts().lattice;
    auto field = stars_on(frame);
    if (!field) return fail(field.error());
    FieldReference reference;
    reference.fingerprint = std::move(fingerprint);
    reference.frame = std::move(name);
    reference.scale_arcsec_per_px = wcs->scale_arcsec_per_px() / (lattice ? lattice->pitch_px() : 1.0);
    reference.mirrored = wcs->mirrored();
    for (const stars::Detection& star : field->stars) {
        if (star.edge || star.extended || !(star.flux_adu > 0.0)) continue;
        const auto sky = wcs->sky(lattice ? lattice->picture(star.position) : star.position);
        if (!sky) continue;
        stars::ReferenceStar entry;
        entry.position = *sky;
        entry.err_arcsec = std::hypot(star.err_px, least_star_err_px) * reference.scale_arcsec_per_px;
        entry.magnitude_mag = -2.5 * std::log10(star.flux_adu);
        reference.stars.push_back(std::move(entry));
        reference.places.push_back(star.position);
    }
    if (reference.stars.size() < least_reference_stars) {
        return fail({.what = fmt::format("The frame shows {} stars: too few for others to be matched with.",
                                         reference.stars.size()),
                     .where = frame.facts().path,
                     .mend = "Take another frame, or name a catalogue of the field under [plate] in "
                             "campaign.toml."});
    }
    return reference;
}

void PlateFinder::use(FieldReference reference) {
    reference_ = std::move(reference);
}

Result<FoundPlate> PlateFinder::find(const std::vector<frame::Frame>& frames) const {
    const frame::Frame& frame = telling_frame(frames);
    const std::string& path = frame.facts().path;
    auto field = stars_on(frame);
    if (!field) return fail(field.error());
    if (field->stars.empty()) {
        return fail({.what = "No plate solution: there is no star on the frame.",
                     .where = path,
                     .mend = "Cloud, a closed cover or a lost focus: look at the frame."});
    }
    const FieldReference* reference = reference_ ? &*reference_ : nullptr;
    const KnownField known{campaign_, sequence_, search_, catalogue_ ? &*catalogue_ : nullptr, reference};
    Search search(sequence_, reference, *field, search_);
    for (const PlateSource& source : plate_sources(known, frame)) {
        auto solution = search.against(source);
        if (!solution) continue;
        const frame::Wcs& wcs = solution->fit.wcs;
        const auto place = wcs.pixel(campaign_.position);
        const auto& lattice = frame.facts().lattice;
        const bool there = place && frame.facts().holds(lattice ? lattice->picture(*place) : *place);
        if (!there && !search_.any_field)
            return fail(another_field(wcs, *field, campaign_, source.name, path));
        if (reference != nullptr) drop_marks(*field, *reference, wcs);
        return FoundPlate{std::move(*solution), source.name, std::move(*field)};
    }
    return fail(search.problem(path));
}

}  // namespace emberline::night
