// SPDX-License-Identifier: MIT
#include "night/host_template.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <mutex>

#include "frame/frame.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "night/host_grid.hpp"
#include "night/psf_fluxes.hpp"
#include "night/surroundings.hpp"
#include "numerics/robust.hpp"
#include "photometry/build_psf.hpp"
#include "photometry/local_sky.hpp"
#include "photometry/template_difference.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

// The template's pixels must cover those of any frame's surroundings, whose pixels may be larger.
constexpr double reach_arcsec = 90.0;
constexpr double most_half_px = 250.0;

Problem about_template(const std::string& path, const Problem& problem) {
    Problem out = problem;
    out.what = fmt::format("The host's template cannot be used: {}", problem.what);
    out.where = problem.where.empty() ? path : problem.where;
    out.mend = fmt::format("{} Or take template out of [host].", problem.mend);
    return out;
}

photometry::ImagePart part_of_frame(const FrameFluxes& fluxes, const StarField& field,
                                    const photometry::Surroundings& around) {
    photometry::ImagePart part;
    part.target = around.cutout;
    part.transient = around.transient;
    part.sky_adu = around.sky_adu;
    part.noise = {around.gain_e_per_adu, around.sky_scatter_adu};
    part.saturation_adu = around.saturation_adu;
    part.fwhm_px = fluxes.fwhm_px;
    if (auto psf = photometry::Psf::from_numbers(around.psf)) part.psf = std::move(*psf);
    for (const StarOnFrame& on : field.stars) {
        const StarFlux* star = on.transient ? nullptr : fluxes.find(on.label);
        if (star == nullptr || star->forced) continue;
        part.stars.push_back(
            {on.label, on.cutout, star->position, star->sky_e_per_px / fluxes.gain_e_per_adu});
    }
    return part;
}

}  // namespace

struct HostTemplate::Opened {
    std::string path;
    frame::Wcs wcs;
    photometry::ImagePart part;
    std::optional<Band> other_band;
    std::vector<std::string> remarks;
};

const frame::Frame& most_like(const std::vector<frame::Frame>& planes, const Band& band) {
    const auto find = [&](const auto& alike) {
        return std::find_if(planes.begin(), planes.end(), [&](const frame::Frame& f) {
            return f.facts().band && alike(f.facts().band->value);
        });
    };
    auto found = find([&](const Band& b) { return b == band; });
    if (found == planes.end())
        found = find([&](const Band& b) { return sequence_band(b) == sequence_band(band); });
    return found == planes.end() ? planes.front() : *found;
}

Result<HostTemplate> HostTemplate::open(const std::string& path, const Band& band,
                                        const standard::Sequence& sequence, const Campaign& campaign) {
    auto frames = frame::open_frames(path, campaign.instruments);
    if (!frames) return fail(about_template(path, frames.error()));
    const frame::Frame& frame = most_like(*frames, band);
    const frame::FrameFacts& facts = frame.facts();
    if (!frame.wcs()) return fail(about_template(path, frame.wcs().error()));
    Opened opened{path, *frame.wcs(), {}, std::nullopt, {}};
    // A template needs no time and no exposure; its band is taken for the frames' where it says none.
    FrameNeeds needs = light_needs(facts);
    needs.band = band;
    if (!facts.band) {
        opened.remarks.push_back(fmt::format(
            "The host's template {} does not say its filter: it is taken for {}.", path, band.name()));
    } else if (sequence_band(facts.band->value) != sequence_band(band)) {
        opened.other_band = facts.band->value;
        opened.remarks.push_back(fmt::format(
            "The host's template {} was taken in {}, the frames in {}: colours of host and stars differ.",
            path, facts.band->value.name(), band.name()));
    }
    auto field = find_stars(frame, opened.wcs, needs, sequence, campaign);
    if (!field) return fail(about_template(path, field.error()));

    FrameFluxes stars;  // as far as the stamps need them
    stars.gain_e_per_adu = needs.gain_e_per_adu;
    stars.fwhm_px = field->profile.fwhm_px;
    stars.scale_arcsec_per_px = opened.wcs.scale_arcsec_per_px();
    const photometry::Annulus annulus{4.0 * stars.fwhm_px, 7.0 * stars.fwhm_px};
    for (const StarOnFrame& on : field->stars) {
        const auto sky = photometry::estimate_sky(on.cutout, on.position, annulus);
        if (!sky && on.transient) return fail(about_template(path, sky.error()));
        if (!sky) continue;
        StarFlux star;
        star.label = on.label;
        star.position = on.position;
        star.forced = on.forced;
        star.sky_e_per_px = sky->level_adu * needs.gain_e_per_adu;
        star.sky_err_e_per_px = sky->level_err_adu * needs.gain_e_per_adu;
        star.sky_scatter_e = sky->scatter_adu * needs.gain_e_per_adu;
        stars.stars.push_back(std::move(star));
    }
    std::vector<photometry::PsfStar> shapes;
    for (const StarOnFrame& on : field->stars) {
        const StarFlux* star = on.transient ? nullptr : stars.find(on.label);
        if (star != nullptr && !star->forced)
            shapes.push_back(
                {on.label, on.cutout, star->position, star->sky_e_per_px / needs.gain_e_per_adu});
    }
    std::optional<photometry::Psf> psf;
    if (auto built = photometry::build_psf(shapes, stars.fwhm_px, pixel_noise(stars), needs.saturation_adu))
        psf = std::move(built->psf);
    const auto around = surroundings_of(
        frame, opened.wcs, needs, campaign, stars, psf,
        static_cast<int>(std::clamp(reach_arcsec / stars.scale_arcsec_per_px, 40.0, most_half_px)));
    if (!around) return fail(about_template(path, around.error()));
    opened.part = part_of_frame(stars, *field, *around);
    HostTemplate out;
    out.opened_ = std::make_shared<const Opened>(std::move(opened));
    return out;
}

const std::vector<std::string>& HostTemplate::remarks() const {
    return opened_->remarks;
}

Result<photometry::HostLight> HostTemplate::subtract_from(const FrameFluxes& fluxes, const StarField& field,
                                                          const frame::Wcs& wcs,
                                                          photometry::Surroundings& around) const {
    const photometry::ImagePart part = part_of_frame(fluxes, field, around);
    const auto to_template = [&](const frame::PixelPosition& p) -> std::optional<frame::PixelPosition> {
        const auto sky = wcs.sky(p);
        if (!sky) return std::nullopt;
        const auto there = opened_->wcs.pixel(*sky);
        return there ? std::optional(*there) : std::nullopt;
    };
    const auto difference = photometry::subtract_template(part, opened_->part, to_template);
    if (!difference) return fail(difference.error());
    auto light = photometry::measure_difference(*difference, part, host_grid(fluxes), around.transient);
    if (!light) return fail(light.error());
    if (const auto left = photometry::transient_in_template(opened_->part, difference->ratio)) {
        light->template_light_e = left->flux_adu * around.gain_e_per_adu;
        light->template_light_err_e = left->err_adu * around.gain_e_per_adu;
    }
    if (opened_->other_band) light->caveats.add(Caveat::template_other_band);
    around.difference_adu = difference->image.adu;
    around.difference_psf = difference->psf.numbers();
    return light;
}

struct HostTemplates::Shelf {
    const standard::Sequence& sequence;
    const Campaign& campaign;
    mutable std::mutex lock;
    mutable std::map<std::string, Result<HostTemplate>> opened;  // by the frames' band
};

HostTemplates::HostTemplates(const standard::Sequence& sequence, const Campaign& campaign)
    : shelf_(new Shelf{sequence, campaign, {}, {}}) {}
HostTemplates::~HostTemplates() = default;

bool HostTemplates::any() const {
    return !shelf_->campaign.host_templates.empty();
}

const Result<HostTemplate>* HostTemplates::find(const Band& band) const {
    const auto& paths = shelf_->campaign.host_templates;
    auto named = paths.find(band.name());
    if (named == paths.end()) named = paths.find("");
    if (named == paths.end()) return nullptr;
    const std::scoped_lock held(shelf_->lock);
    auto found = shelf_->opened.find(band.name());
    if (found == shelf_->opened.end()) {
        found = shelf_->opened
                    .emplace(band.name(), HostTemplate::open(shelf_->campaign.path(named->second), band,
                                                             shelf_->sequence, shelf_->campaign))
                    .first;
    }
    return &found->second;
}

std::vector<std::pair<Band, Problem>> HostTemplates::refused() const {
    const std::scoped_lock held(shelf_->lock);
    std::vector<std::pair<Band, Problem>> out;
    for (const auto& [band, result] : shelf_->opened) {
        if (!result) out.emplace_back(*parse_band(band), result.error());
    }
    return out;
}

}  // namespace emberline::night
