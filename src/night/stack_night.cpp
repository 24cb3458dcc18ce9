// SPDX-License-Identifier: MIT
// Notation: w weight of a frame, t the middle of its light; the stack's middle is Σ w t, as its light is Σ w
// F.
#include "night/stack_night.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "frame/own_stack.hpp"
#include "night/frame_needs.hpp"
#include "night/settle_stack.hpp"
#include "night/stack_members.hpp"
#include "quantities/software.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

// What tells whose frame it is, and from where: as the reference's header has it.
constexpr const char* kept_keywords[] = {
    "OBJECT",   "OBJNAME",  "OBSERVER", "TELESCOP", "INSTRUME", "CAMERA",   "DETECTOR", "APTDIA",
    "FOCALLEN", "OBSGEO-X", "OBSGEO-Y", "OBSGEO-Z", "OBSGEO-B", "OBSGEO-L", "OBSGEO-H", "SITELAT",
    "SITELONG", "SITEELEV", "LAT-OBS",  "LONG-OBS", "ALT-OBS",  "OBS-LAT",  "OBS-LONG", "OBS-ELEV"};

std::string fits_time(const Instant& instant) {
    std::string text = sky::iso(sky::to_utc(instant), 6);
    if (text.ends_with('Z')) text.pop_back();
    return text;
}

struct Times {
    Instant begin, middle, end;
    double exposure_s = 0.0;
};
Times times_of(const std::vector<StackFrame>& members) {
    const auto half_s = [](const StackFrame& m) { return 0.5 * m.fluxes.exposure_s; };
    const Instant zero = members.front().fluxes.mid_exposure;
    Times times{zero, zero, zero, 0.0};
    double begin_s = 0.0, end_s = 0.0, middle_s = 0.0;
    for (const StackFrame& m : members) {
        const double t = sky::seconds_between(zero, m.fluxes.mid_exposure);
        begin_s = std::min(begin_s, t - half_s(m));
        end_s = std::max(end_s, t + half_s(m));
        middle_s += m.weight * t;
        times.exposure_s += m.fluxes.exposure_s;
    }
    times.begin = sky::later_by(zero, begin_s);
    times.middle = sky::later_by(zero, middle_s);
    times.end = sky::later_by(zero, end_s);
    return times;
}

std::string calibration_letters(const frame::FrameFacts& facts) {
    std::set<char> done;
    if (facts.calibrated) done.insert(facts.calibrated->value.begin(), facts.calibrated->value.end());
    for (const std::string& master : facts.masters) {
        if (master.starts_with("bias")) done.insert('B');
        if (master.starts_with("dark")) done.insert('D');
        if (master.starts_with("flat")) done.insert('F');
    }
    return {done.begin(), done.end()};
}

std::vector<frame::Card> cards_of(const std::vector<StackFrame>& members, const StackGrid& grid,
                                  const Campaign& campaign, const Times& times,
                                  const frame::OwnStack& described, std::vector<frame::Card> cards) {
    const StackFrame& reference = members.front();
    std::set<std::string> there;
    for (const frame::Card& card : cards)
        there.insert(card.keyword);
    const auto add = [&](frame::Card card) {
        if (there.insert(card.keyword).second) cards.push_back(std::move(card));
    };
    for (frame::Card& card : own_stack_cards(described))
        add(std::move(card));
    add(filter_card(reference, grid));
    add({"BUNIT", "adu", "of the frame that gave the pixels", true});
    add({"TIMESYS", "UTC", "", true});
    add({"DATE-OBS", fits_time(times.begin), "the first exposure began", true});
    add({"DATE-AVG", fits_time(times.middle), "weighted as the light is", true});
    add({"DATE-END", fits_time(times.end), "the last exposure ended", true});
    double airmass = 0.0;
    bool all_known = true;
    for (const StackFrame& m : members) {
        all_known = all_known && m.fluxes.airmass.has_value();
        airmass += m.weight * m.fluxes.airmass.value_or(0.0);
    }
    if (all_known) add({"AIRMASS", fmt::format("{:.5f}", airmass), "weighted as the light is", false});
    const frame::FrameFacts& facts = reference.frame.facts();
    if (const std::string letters = calibration_letters(facts); !letters.empty())
        add({"CALSTAT", letters, "done to the frames before", true});
    if (facts.offset_adu && facts.offset_adu->value != 0.0)
        add({"PEDESTAL", fmt::format("{:.9g}", grid.area * facts.offset_adu->value), "ADU without light",
             false});
    std::set<std::string> wanted(std::begin(kept_keywords), std::end(kept_keywords));
    for (const frame::Instrument& instrument : campaign.instruments) {
        for (const auto& [keyword, value] : instrument.match)
            wanted.insert(keyword);
    }
    for (const frame::Card& card : reference.frame.header().cards()) {
        if (wanted.contains(card.keyword)) add(card);
    }
    cards.push_back(
        {"HISTORY", "", fmt::format("Weighted mean of a night, outliers clipped, by {}", software), false});
    return cards;
}

// Frames of one night and band, measured; what cannot be is left out.
Result<std::vector<StackFrame>> open_members(const std::vector<StackCandidate>& candidates,
                                             const standard::Sequence& sequence, const Campaign& campaign,
                                             NightStack& out) {
    std::vector<StackFrame> members;
    std::set<std::string> prints;
    for (const StackCandidate& one : candidates) {
        const auto leave = [&](std::string what) {
            out.left_out.push_back(
                {one.path, {.what = std::move(what), .where = one.path, .mend = "Leave it out."}});
        };
        if (!one.frame.facts().stack_of.empty()) {
            leave("It is a stack itself.");
            continue;
        }
        if (!one.fingerprint.empty() && !prints.insert(one.fingerprint).second) {
            leave("It is a second copy of a frame that is there already.");
            continue;
        }
        auto member = stack_frame(one.frame, one.path, one.fingerprint, sequence, campaign);
        if (!member) {
            out.left_out.push_back({one.path, member.error()});
            continue;
        }
        if (!members.empty() && member->fluxes.band != members.front().fluxes.band) {
            return fail({.what = fmt::format("The frames are of several bands: {} and {}.",
                                             members.front().fluxes.band.name(), member->fluxes.band.name()),
                         .where = one.path,
                         .mend = "Make one stack a band: say which with --band.",
                         .kind = ProblemKind::request});
        }
        const FrameNeeds stated = light_needs(one.frame.facts());
        const FrameNeeds needs = in_unit(stated, unit_of(one.frame, stated));
        member->top_adu = std::min(needs.saturation_adu, needs.linear_to_adu) - member->sky_adu;
        members.push_back(std::move(*member));
    }
    return members;
}

}  // namespace

Result<NightStack> stack_night(const std::vector<StackCandidate>& candidates,
                               const standard::Sequence& sequence, const Campaign& campaign,
                               const std::function<void(std::size_t, std::size_t)>& progress,
                               const std::atomic<bool>* stop) {
    if (candidates.size() > frame::most_stacked_frames) {
        return fail({.what = fmt::format("{} frames are too many for one stack.", candidates.size()),
                     .where = "",
                     .mend = fmt::format("Stack at most {} at a time.", frame::most_stacked_frames),
                     .kind = ProblemKind::request});
    }
    NightStack out;
    auto opened = open_members(candidates, sequence, campaign, out);
    if (!opened) return fail(opened.error());
    std::vector<StackFrame> members = std::move(*opened);
    const StackOrder order{StackOrder::First::deepest, "stack",
                           "Measure the frames one by one, or name more of them."};
    if (auto good = scale_and_weigh(members, order, out.left_out); !good) return fail(good.error());
    double lowest_top = std::numeric_limits<double>::infinity();
    for (StackFrame& m : members) {
        m.top_adu /= m.scale;
        lowest_top = std::min(lowest_top, m.top_adu);
    }
    const StackFrame& reference = members.front();
    const StackGrid grid = grid_of(reference.frame.facts());
    auto added = co_add(members, grid, {.variance = true, .stop = stop, .progress = progress});
    if (!added) return fail(added.error());
    const double sky_adu = grid.area * reference.sky_adu;
    out.width_px = grid.width_px;
    out.height_px = grid.height_px;
    out.adu = std::move(added->adu);
    for (float& v : out.adu)
        v += static_cast<float>(sky_adu);
    out.variance_adu2 = std::move(added->variance_adu2);
    out.clipped_pixels = added->clipped_pixels;
    out.band = reference.fluxes.band;
    const Times times = times_of(members);
    out.mid_exposure = times.middle;
    out.exposure_s = times.exposure_s;
    const EffectiveNoise noise = effective_noise(members, grid);
    out.gain_e_per_adu = noise.gain_e_per_adu;
    out.read_noise_e = noise.read_noise_e;
    frame::OwnStack described{
        {},      noise.gain_e_per_adu, noise.read_noise_e, times.exposure_s, lowest_top + sky_adu,
        sky_adu, out.clipped_pixels};
    double fwhm2 = 0.0;
    for (const StackFrame& m : members) {
        out.used.push_back({m.path, m.fluxes.fingerprint, m.weight, m.scale, m.fwhm_arcsec()});
        described.frames.push_back({m.path, m.fluxes.fingerprint, m.weight});
        fwhm2 += m.weight * m.fwhm_arcsec() * m.fwhm_arcsec();
    }
    out.fwhm_arcsec = std::sqrt(fwhm2);
    const auto source =
        std::find_if(candidates.begin(), candidates.end(), [&](const StackCandidate& candidate) {
            return candidate.path == reference.path && candidate.fingerprint == reference.fluxes.fingerprint;
        });
    const bool own_plate = source != candidates.end() && source->plate;
    auto plate = plate_of(reference, grid, own_plate ? *source->plate : reference.frame.header());
    if (!plate) return fail(plate.error());
    out.variance_cards = *plate;
    out.variance_cards.push_back({"BUNIT", "adu**2", "for sums over apertures", true});
    out.cards = cards_of(members, grid, campaign, times, described, std::move(*plate));
    return out;
}

}  // namespace emberline::night
