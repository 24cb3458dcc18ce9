// SPDX-License-Identifier: MIT
#include "night/plate_attempts.hpp"

#include <algorithm>
#include <cmath>
#include <memory>

#include "sky/proper_motion.hpp"

namespace emberline::night {
namespace {

using stars::PlateHints;
using stars::ReferenceStar;

constexpr double same_camera_factor = 1.02;  // focus and temperature change a scale by far less
constexpr double hint_factor = 1.2;          // a scale that a person or a header states
constexpr double scale_step = 3.0;           // of the ladder of scales, where nothing is stated
// Small telescopes first, then longer and shorter focal lengths: 0.1 to 60 arcsec a pixel in all.
constexpr double ladder_arcsec_per_px[] = {1.8, 0.6, 5.4, 0.2, 16.2, 48.0};
constexpr double same_star_arcsec = 3.0;
constexpr double sequence_err_arcsec = 0.5;  // tables round positions to tenths of a second of time
constexpr double motion_margin_arcsec = 120.0;
constexpr double all_sky_arcsec = 180.0 * 3600.0;
constexpr double least_scale_arcsec_per_px = 0.02, most_scale_arcsec_per_px = 600.0;

double diagonal_px(const frame::FrameFacts& facts) {
    return std::hypot(facts.stored_width_px(), facts.stored_height_px());
}

double epoch_of(const frame::FrameFacts& facts, const standard::FieldCatalogue* catalogue) {
    if (facts.mid_exposure) return sky::epoch_jyear_of(facts.mid_exposure->value.jd());
    return catalogue != nullptr ? catalogue->epoch_jyear.value_or(2000.0) : 2000.0;
}

std::vector<ReferenceStar> stars_of(const standard::Sequence& sequence, const std::optional<Band>& band) {
    std::vector<ReferenceStar> out;
    for (const standard::ComparisonStar& star : sequence.stars) {
        ReferenceStar entry{star.position, sequence_err_arcsec, std::nullopt, star.label};
        const auto own = band ? star.magnitude(*band) : std::nullopt;
        if (own) {
            entry.magnitude_mag = own->value;
        } else if (!star.magnitudes.empty()) {
            entry.magnitude_mag = star.magnitudes.begin()->second.value;
        }
        out.push_back(std::move(entry));
    }
    return out;
}

// The transient must lie on the frame: no star of the frame is further from it than the frame's diagonal.
std::vector<ReferenceStar> catalogue_near(const standard::FieldCatalogue& catalogue,
                                          const SkyPosition& middle, Angle radius, double epoch_jyear) {
    standard::FieldCatalogue part;
    part.source = catalogue.source;
    part.epoch_jyear = catalogue.epoch_jyear;
    const Angle reach = radius + Angle::arcseconds(motion_margin_arcsec);
    std::copy_if(
        catalogue.stars.begin(), catalogue.stars.end(), std::back_inserter(part.stars),
        [&](const standard::CatalogueStar& star) { return separation(star.position, middle) < reach; });
    return standard::references_at(part, epoch_jyear);
}

void add_missing(std::vector<ReferenceStar>& to, const std::vector<ReferenceStar>& others) {
    const std::size_t known = to.size();
    for (const ReferenceStar& star : others) {
        const bool there = std::any_of(
            to.begin(), to.begin() + static_cast<std::ptrdiff_t>(known), [&](const ReferenceStar& one) {
                return std::abs((one.position.dec - star.position.dec).arcseconds()) < same_star_arcsec &&
                       separation(one.position, star.position).arcseconds() < same_star_arcsec;
            });
        if (!there) to.push_back(star);
    }
}

// Where a scale is stated by the observer, that is the scale.
std::vector<PlateHints> stated_hints(const KnownField& known, const frame::Frame& frame) {
    std::vector<PlateHints> hints;
    const auto with_scale = [](double scale, double factor) {
        PlateHints hint;
        hint.scale_arcsec_per_px = scale;
        hint.scale_factor = factor;
        return hint;
    };
    if (known.campaign.plate.scale_arcsec_per_px)
        return {with_scale(*known.campaign.plate.scale_arcsec_per_px, known.search.scale_factor)};
    if (known.reference != nullptr)
        hints.push_back(with_scale(known.reference->scale_arcsec_per_px, same_camera_factor));
    if (const auto scale = header_scale_arcsec_per_px(frame.header()))
        hints.push_back(with_scale(*scale, hint_factor));
    return hints;
}

PlateSource fixed_source(std::string name, std::vector<ReferenceStar> references,
                         std::vector<PlateHints> hints) {
    PlateSource source;
    source.name = std::move(name);
    source.stars = references.size();
    source.attempts = hints.size();
    source.attempt = [references = std::move(references), hints = std::move(hints)](std::size_t i) {
        return PlateAttempt{hints[i], references};
    };
    return source;
}

PlateSource reference_source(const KnownField& known, const frame::Frame& frame) {
    PlateHints own;
    own.scale_arcsec_per_px = known.reference->scale_arcsec_per_px;
    own.scale_factor = same_camera_factor;
    own.mirrored = known.reference->mirrored;
    std::vector<PlateHints> hints{own};
    // Another camera of the same campaign, or other binning.
    for (const PlateHints& hint : stated_hints(known, frame)) {
        if (hint.scale_arcsec_per_px != own.scale_arcsec_per_px) hints.push_back(hint);
    }
    if (!known.campaign.plate.scale_arcsec_per_px) hints.emplace_back();
    PlateSource source = fixed_source(known.reference->frame, known.reference->stars, std::move(hints));
    source.solved_frame = true;
    return source;
}

PlateSource catalogue_source(const KnownField& known, const frame::Frame& frame,
                             std::vector<ReferenceStar> sequence) {
    std::vector<PlateHints> hints = stated_hints(known, frame);
    if (!known.campaign.plate.scale_arcsec_per_px) {
        for (const double scale : ladder_arcsec_per_px) {
            PlateHints hint;
            hint.scale_arcsec_per_px = scale;
            hint.scale_factor = std::sqrt(scale_step) * 1.02;
            hints.push_back(hint);
        }
    }
    PlateSource source;
    source.name = known.campaign.plate.catalogue;
    source.stars = known.catalogue->stars.size();
    source.attempts = hints.size();
    const frame::FrameFacts& facts = frame.facts();
    source.attempt = [catalogue = known.catalogue, middle = known.campaign.position,
                      any_field = known.search.any_field, diagonal = diagonal_px(facts),
                      epoch = epoch_of(facts, known.catalogue), sequence = std::move(sequence),
                      hints = std::move(hints)](std::size_t i) {
        PlateAttempt attempt;
        attempt.hints = hints[i];
        const Angle radius = Angle::arcseconds(
            any_field ? all_sky_arcsec
                      : std::min(diagonal * *hints[i].scale_arcsec_per_px * hints[i].scale_factor,
                                 0.5 * all_sky_arcsec));
        attempt.references = catalogue_near(*catalogue, middle, radius, epoch);
        std::vector<ReferenceStar> near;
        std::copy_if(sequence.begin(), sequence.end(), std::back_inserter(near),
                     [&](const ReferenceStar& star) { return separation(star.position, middle) < radius; });
        add_missing(attempt.references, near);
        return attempt;
    };
    return source;
}

PlateSource sequence_source(const KnownField& known, const frame::Frame& frame,
                            std::vector<ReferenceStar> sequence) {
    std::vector<PlateHints> hints = stated_hints(known, frame);
    if (!known.campaign.plate.scale_arcsec_per_px) hints.emplace_back();
    return fixed_source(known.campaign.catalog, std::move(sequence), std::move(hints));
}

}  // namespace

std::optional<double> header_scale_arcsec_per_px(const frame::Header& header) {
    const auto plausible = [](double scale) {
        return scale > least_scale_arcsec_per_px && scale < most_scale_arcsec_per_px;
    };
    for (const char* keyword : {"SECPIX", "SECPIX1", "PIXSCALE", "PIXSCAL1", "PLTSCALE", "SCALE"}) {
        const auto scale = header.number(keyword);
        if (scale && plausible(std::abs(*scale))) return std::abs(*scale);
    }
    const auto focal_mm = header.number("FOCALLEN");
    if (!focal_mm || !(*focal_mm > 0.0)) return std::nullopt;
    for (const char* keyword : {"XPIXSZ", "PIXSIZE1", "PIXSIZE", "XPIXELSZ"}) {
        const auto pixel_um = header.number(keyword);
        if (!pixel_um) continue;
        const double scale = Angle::radians(*pixel_um * 1e-3 / *focal_mm).arcseconds();
        if (plausible(scale)) return scale;
    }
    return std::nullopt;
}

std::vector<PlateSource> plate_sources(const KnownField& known, const frame::Frame& frame) {
    std::vector<PlateSource> sources;
    if (known.reference != nullptr) sources.push_back(reference_source(known, frame));
    const auto band = frame.facts().band;
    std::vector<ReferenceStar> sequence =
        stars_of(known.sequence, band ? std::optional<Band>(sequence_band(band->value)) : std::nullopt);
    if (known.catalogue != nullptr && !known.catalogue->stars.empty())
        sources.push_back(catalogue_source(known, frame, sequence));
    if (!sequence.empty()) sources.push_back(sequence_source(known, frame, std::move(sequence)));
    return sources;
}

}  // namespace emberline::night
