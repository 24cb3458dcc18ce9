// SPDX-License-Identifier: MIT
// Notation: s light let through, over the reference's; w weight of a frame; g gain, e/ADU.
#include "night/stack_members.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "frame/plate_cards.hpp"
#include "night/aperture_grid.hpp"
#include "night/measure_frame.hpp"
#include "night/psf_fluxes.hpp"
#include "night/relative_scale.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;

constexpr double most_trailed = 1.6;           // a stack's stars should be round
constexpr double most_fwhm_of_sharpest = 2.0;  // wider frames would blur it
constexpr double scale_aperture_fwhm = 1.8;    // for the frames' light against each other

double sky_of(const FrameFluxes& fluxes) {
    std::vector<double> levels;
    for (const auto& star : fluxes.stars)
        levels.push_back(star.sky_e_per_px / fluxes.gain_e_per_adu);
    return numerics::median(std::move(levels));
}

std::vector<FrameScale> scales_of(const std::vector<StackFrame>& members) {
    std::vector<const FrameFluxes*> frames;
    std::vector<std::size_t> apertures;
    std::set<std::string> labels;
    for (const StackFrame& m : members) {
        frames.push_back(&m.fluxes);
        apertures.push_back(find_multiple(m.fluxes.apertures, scale_aperture_fwhm).value_or(0));
        for (const auto& star : m.fluxes.stars) {
            if (star.label != photometry::transient_label) labels.insert(star.label);
        }
    }
    return relative_scales(frames, apertures, labels);
}

// How deep a frame is for a star, but for a factor that all share; `scale` must still be that of electrons.
double depth_of(const StackFrame& m) {
    return std::pow(m.scale / (m.scatter_adu * m.fluxes.gain_e_per_adu * m.fwhm_arcsec()), 2);
}

}  // namespace

StackGrid grid_of(const frame::FrameFacts& facts) {
    if (!facts.lattice) return {facts.width_px, facts.height_px, 1.0, std::nullopt, 0.0, 0.0};
    const frame::Lattice& l = *facts.lattice;
    StackGrid grid{
        l.stored_width_px / 2, l.stored_height_px / 2, 4.0 / (l.pitch_px() * l.pitch_px()), l, 0.5, 0.5};
    if (!l.turned()) {
        grid.phase_x = l.x0;
        grid.phase_y = l.y0;
    }
    return grid;
}

Result<StackFrame> stack_frame(frame::Frame frame, const std::string& path, const std::string& fingerprint,
                               const standard::Sequence& sequence, const Campaign& campaign) {
    if (!frame.wcs()) return fail(frame.wcs().error());
    auto fluxes = measure_frame(frame, path, fingerprint, sequence, campaign);
    if (!fluxes) return fail(fluxes.error());
    if (fluxes->elongation > most_trailed) {
        return fail(
            {.what = fmt::format("Its stars are trailed: {:.2f} times as long as wide.", fluxes->elongation),
             .where = path,
             .mend = "Stack frames with round stars."});
    }
    const frame::Wcs wcs = *frame.wcs();
    StackFrame member{.path = path, .frame = std::move(frame), .wcs = wcs, .fluxes = std::move(*fluxes)};
    member.sky_adu = sky_of(member.fluxes);
    member.scatter_adu = pixel_noise(member.fluxes).sky_scatter_adu;
    return member;
}

Result<void> scale_and_weigh(std::vector<StackFrame>& members, const StackOrder& order,
                             std::vector<LeftOut>& left_out) {
    std::stable_sort(members.begin(), members.end(), [](const StackFrame& a, const StackFrame& b) {
        return a.fwhm_arcsec() < b.fwhm_arcsec();
    });
    const auto scales = scales_of(members);
    std::vector<StackFrame> kept;
    for (std::size_t i = 0; i < members.size(); ++i) {
        StackFrame& m = members[i];
        const double sharpest = kept.empty() ? m.fwhm_arcsec() : kept.front().fwhm_arcsec();
        std::string why;
        if (!std::isfinite(scales[i].err)) {
            why = "It has no clear star in common with the others.";
        } else if (m.fwhm_arcsec() > most_fwhm_of_sharpest * sharpest) {
            why = fmt::format("Its seeing of {:.1f}″ would blur the {}, whose sharpest frame has {:.1f}″.",
                              m.fwhm_arcsec(), order.what, sharpest);
        }
        if (!why.empty()) {
            left_out.push_back({m.path, {.what = why, .where = m.path, .mend = "Leave it out."}});
            continue;
        }
        m.scale = scales[i].scale;
        kept.push_back(std::move(m));
    }
    members = std::move(kept);
    if (members.size() < 2) {
        return fail({.what = fmt::format("{} frame(s) can be used; a stack needs two.", members.size()),
                     .where = left_out.empty() ? std::string() : one_line(left_out.front().problem),
                     .mend = order.mend});
    }
    if (order.first == StackOrder::First::deepest) {
        const auto deepest = std::max_element(
            members.begin(), members.end(),
            [](const StackFrame& a, const StackFrame& b) { return depth_of(a) < depth_of(b); });
        std::rotate(members.begin(), deepest, std::next(deepest));
    }
    const double reference_scale = members.front().scale;
    const double reference_gain = members.front().fluxes.gain_e_per_adu;
    double sum = 0.0;
    for (StackFrame& m : members) {
        // In ADU of a pixel; frames of another gain or exposure come onto the reference's numbers.
        m.scale = m.scale / reference_scale / (m.fluxes.gain_e_per_adu / reference_gain);
        m.weight = std::pow(m.scale / m.scatter_adu, 2);
        sum += m.weight;
    }
    for (StackFrame& m : members)
        m.weight /= sum;
    return {};
}

EffectiveNoise effective_noise(const std::vector<StackFrame>& members, const StackGrid& grid) {
    double shot = 0.0, read_adu2 = 0.0;
    for (const StackFrame& m : members) {
        const double adu_per_e = m.weight / (m.fluxes.gain_e_per_adu * m.scale);
        // Variance of the mean for an ADU of light, and of the sky pixel's read noise in ADU.
        shot += m.weight * adu_per_e;
        read_adu2 += grid.area * std::pow(m.fluxes.read_noise_e * adu_per_e, 2);
    }
    return {1.0 / shot, std::sqrt(read_adu2) / shot};
}

Result<std::vector<frame::Card>> plate_of(const StackFrame& reference, const StackGrid& grid,
                                          const frame::Header& header) {
    auto cards = grid.lattice ? frame::halved_plate_cards(header, grid.phase_x, grid.phase_y)
                              : frame::plate_cards(header);
    if (!cards) return fail(at(reference.path, cards.error()));
    return cards;
}

frame::Card filter_card(const StackFrame& reference, const StackGrid& grid) {
    const bool colour = grid.lattice || reference.frame.facts().planes > 1;
    return {"FILTER", colour ? reference.fluxes.band.name() : reference.fluxes.filter, "", true};
}

}  // namespace emberline::night
