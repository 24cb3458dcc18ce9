// SPDX-License-Identifier: MIT
#include "night/stack_template.hpp"

#include <fmt/format.h>

#include "frame/frame.hpp"
#include "night/stack_members.hpp"

namespace emberline::night {
namespace {

Result<frame::Frame> frame_of_band(const std::string& path, std::vector<frame::Frame> frames,
                                   const std::optional<Band>& band) {
    if (!band && frames.size() == 1) return std::move(frames.front());
    std::string colours;
    for (frame::Frame& frame : frames) {
        const auto& its = frame.facts().band;
        if (band && its && its->value == *band) return std::move(frame);
        if (its) colours += (colours.empty() ? "" : ", ") + its->value.name();
    }
    return fail({.what = band ? fmt::format("It holds no band {}, but {}.", band->name(),
                                            colours.empty() ? "none that is known" : colours)
                              : fmt::format("It holds several bands: {}.", colours),
                 .where = path,
                 .mend = "Say which band the template is for, with --band.",
                 .kind = band ? ProblemKind::input : ProblemKind::request});
}

Result<StackFrame> open_member(const std::string& path, const standard::Sequence& sequence,
                               const Campaign& campaign, const std::optional<Band>& band,
                               const frame::Masters& masters) {
    auto frames = frame::open_frames(path, campaign.instruments, &masters);
    if (!frames) return fail(frames.error());
    auto found = frame_of_band(path, std::move(*frames), band);
    if (!found) return fail(found.error());
    return stack_frame(std::move(*found), path, path, sequence, campaign);
}

Result<std::vector<frame::Card>> cards_of(const std::vector<StackFrame>& members, const StackGrid& grid,
                                          const TemplateStack& out) {
    const StackFrame& reference = members.front();
    auto plate = plate_of(reference, grid, reference.frame.header());
    if (!plate) return fail(plate.error());
    std::vector<frame::Card> cards = std::move(*plate);
    double exposure_s = 0.0;
    for (const StackFrame& m : members)
        exposure_s += m.fluxes.exposure_s;
    const EffectiveNoise noise = effective_noise(members, grid);
    const auto number = [](double v) { return fmt::format("{:.9g}", v); };
    cards.push_back(filter_card(reference, grid));
    cards.push_back({"EXPTIME", number(exposure_s), "s, of all frames together", false});
    // No NCOMBINE: gain and read noise are the stack's already, and readers would multiply once more.
    cards.push_back({"GAIN", number(noise.gain_e_per_adu), "electrons per ADU of the mean", false});
    cards.push_back({"RDNOISE", number(noise.read_noise_e), "electrons, of a pixel", false});
    cards.push_back(
        {"DATE-OBS", reference.frame.header().text("DATE-OBS").value_or(""), "of the sharpest frame", true});
    cards.push_back({"IMAGETYP", "stack", "a weighted mean, clipped", true});
    cards.push_back(
        {"HISTORY", "", fmt::format("Host template by emberline, from {} frames:", members.size()), false});
    for (const std::string& path : out.used)
        cards.push_back({"HISTORY", "", path.substr(path.size() > 64 ? path.size() - 64 : 0), false});
    return cards;
}

}  // namespace

Result<TemplateStack> stack_template(const std::vector<std::string>& paths,
                                     const standard::Sequence& sequence, const Campaign& campaign,
                                     const std::optional<Band>& band,
                                     const std::function<void(std::size_t, std::size_t)>& progress) {
    TemplateStack out;
    std::vector<StackFrame> members;
    const frame::Masters masters = frame::Masters::open(campaign.master_paths());
    for (const std::string& path : paths) {
        auto member = open_member(path, sequence, campaign, band, masters);
        if (!member && member.error().kind == ProblemKind::request) return fail(member.error());
        if (!member) {
            out.left_out.push_back({path, member.error()});
        } else if (!members.empty() && member->fluxes.band != members.front().fluxes.band) {
            return fail({.what = fmt::format("The frames are of several bands: {} and {}.",
                                             members.front().fluxes.band.name(), member->fluxes.band.name()),
                         .where = path,
                         .mend = "Make one template a band, each from its own frames.",
                         .kind = ProblemKind::request});
        } else {
            members.push_back(std::move(*member));
        }
    }
    if (members.empty()) {
        return fail({.what = "No frame can be used.",
                     .where = out.left_out.empty() ? std::string() : one_line(out.left_out.front().problem),
                     .mend = "Name plate-solved frames of the field from after the fade."});
    }
    const StackOrder order{StackOrder::First::sharpest, "template",
                           "Name more frames from after the fade; one good deep frame can be the template as "
                           "it is."};
    if (auto good = scale_and_weigh(members, order, out.left_out); !good) return fail(good.error());
    const StackFrame& reference = members.front();
    const StackGrid grid = grid_of(reference.frame.facts());
    out.width_px = grid.width_px;
    out.height_px = grid.height_px;
    out.fwhm_arcsec = reference.fwhm_arcsec();
    for (const StackFrame& m : members)
        out.used.push_back(m.path);
    auto added = co_add(members, grid, {.progress = progress});
    if (!added) return fail(added.error());
    out.adu = std::move(added->adu);
    for (float& v : out.adu)
        v += static_cast<float>(grid.area * reference.sky_adu);
    out.clipped_pixels = added->clipped_pixels;
    auto cards = cards_of(members, grid, out);
    if (!cards) return fail(cards.error());
    out.cards = std::move(*cards);
    return out;
}

}  // namespace emberline::night
