// SPDX-License-Identifier: MIT
// Notation: F flux, σ its error; together Σ F/σ² over √Σ 1/σ².
#include "night/choose_stack.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <tuple>

#include "night/star_noise.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;

constexpr double aperture_fwhm = 1.2;
constexpr double most_place_err_fwhm = 0.1;  // more of it loses a few per cent of a faint source's light
constexpr std::size_t worth_stacking = 3;    // frames

std::optional<std::size_t> aperture_of(const FrameFluxes& frame) {
    std::optional<std::size_t> best;
    for (std::size_t k = 0; k < frame.apertures.size(); ++k) {
        const auto off = [&](std::size_t i) {
            return std::abs(frame.apertures[i].radius_px - aperture_fwhm * frame.fwhm_px);
        };
        if (frame.apertures[k].is_psf()) continue;
        if (!best || off(k) < off(*best)) best = k;
    }
    return best;
}

double signal_to_noise(const std::vector<const FrameFluxes*>& frames) {
    double sum = 0.0, weight = 0.0;
    for (const FrameFluxes* frame : frames) {
        const auto* star = frame->find(photometry::transient_label);
        const auto k = aperture_of(*frame);
        if (star == nullptr || !k || *k >= star->flux_e.size()) continue;
        const double variance = noise_terms(*frame, *star, *k).variance_e2(star->flux_e[*k]);
        if (!(variance > 0.0)) continue;
        sum += star->flux_e[*k] / variance;
        weight += 1.0 / variance;
    }
    return weight > 0.0 ? sum / std::sqrt(weight) : 0.0;
}

double place_err_fwhm(const FrameFluxes& frame) {
    return frame.shift_scatter_px / std::sqrt(std::max(1, frame.stars_found)) / std::max(frame.fwhm_px, 0.1);
}

using NightKey = std::tuple<std::string, Band, std::string>;
struct NightOffers {
    std::vector<const FrameFluxes*> frames, stacks;
};

// A night whose frames show little, each and all together.
std::string wanting(const NightKey& key, const std::vector<const FrameFluxes*>& frames, double limit_sigma) {
    if (frames.size() < worth_stacking) return {};
    const double together = signal_to_noise(frames);
    std::vector<double> place_errs;
    for (const FrameFluxes* frame : frames)
        place_errs.push_back(place_err_fwhm(*frame));
    const double place_err = numerics::median(std::move(place_errs));
    if (together >= limit_sigma && place_err <= most_place_err_fwhm) return {};
    return fmt::format(
        "{}, {}: single frames show {}: `emberline stack --night {} --band {}` makes one deep frame of them.",
        std::get<0>(key), std::get<1>(key).name(),
        together < limit_sigma ? "too little of the transient" : "too little to tell where the transient is",
        std::get<0>(key), std::get<1>(key).name());
}

}  // namespace

StackEvidence stack_evidence(const std::vector<const FrameFluxes*>& frames, const FrameFluxes& stack) {
    StackEvidence out;
    out.frames = frames.size();
    out.stacked = stack.stack_of.size();
    std::set<std::string> measured;
    std::vector<double> place_errs;
    for (const FrameFluxes* frame : frames) {
        measured.insert(frame->fingerprint);
        place_errs.push_back(place_err_fwhm(*frame));
    }
    out.stacked_unmeasured = static_cast<std::size_t>(
        std::count_if(stack.stack_of.begin(), stack.stack_of.end(),
                      [&](const std::string& print) { return !measured.contains(print); }));
    out.frames_signal_to_noise = signal_to_noise(frames);
    out.stack_signal_to_noise = signal_to_noise({&stack});
    if (!place_errs.empty()) out.frames_place_err_fwhm = numerics::median(std::move(place_errs));
    out.stack_place_err_fwhm = place_err_fwhm(stack);
    return out;
}

StackChoice choose(const StackEvidence& e, double limit_sigma) {
    if (e.frames == 0) return {true, "None of its frames is measured one by one."};
    if (2 * e.stacked_unmeasured > e.stacked) {
        return {true, fmt::format("{} of the {} frames in the stack could not be measured one by one.",
                                  e.stacked_unmeasured, e.stacked)};
    }
    if (e.frames_place_err_fwhm > most_place_err_fwhm && e.stack_place_err_fwhm < e.frames_place_err_fwhm) {
        return {true,
                fmt::format("In single frames the stars tell the transient's place to {:.2f} of the FWHM "
                            "only, in the stack to {:.2f}.",
                            e.frames_place_err_fwhm, e.stack_place_err_fwhm)};
    }
    if (e.frames_signal_to_noise < limit_sigma && e.stack_signal_to_noise > e.frames_signal_to_noise) {
        return {true,
                fmt::format("The frames together show the transient at {:.1f} sigma, the stack at {:.1f}.",
                            e.frames_signal_to_noise, e.stack_signal_to_noise)};
    }
    return {false, fmt::format("Single frames show enough ({:.0f} sigma together), and their noise is better "
                               "known.",
                               e.frames_signal_to_noise)};
}

StacksAndFrames choose_stacks(const std::vector<const FrameFluxes*>& frames,
                              const std::map<std::string, std::string>& set_aside, double limit_sigma) {
    StacksAndFrames out;
    std::map<NightKey, NightOffers> nights;
    for (const FrameFluxes* frame : frames) {
        NightOffers& night = nights[{frame->night, frame->band, frame->instrument}];
        if (frame->stack_of.empty()) {
            night.frames.push_back(frame);
            continue;
        }
        const auto held = std::find_if(frame->stack_of.begin(), frame->stack_of.end(),
                                       [&](const std::string& print) { return set_aside.contains(print); });
        if (held != frame->stack_of.end()) {
            out.refusals[frame] =
                fmt::format("It is a stack that holds {}, which is set aside.", set_aside.at(*held));
        } else {
            night.stacks.push_back(frame);
        }
    }
    for (auto& [key, night] : nights) {
        if (night.stacks.empty()) {
            if (auto remark = wanting(key, night.frames, limit_sigma); !remark.empty())
                out.remarks.push_back(std::move(remark));
            continue;
        }
        const FrameFluxes* best = *std::max_element(night.stacks.begin(), night.stacks.end(),
                                                    [](const FrameFluxes* a, const FrameFluxes* b) {
                                                        return a->stack_of.size() < b->stack_of.size();
                                                    });
        for (const FrameFluxes* stack : night.stacks) {
            if (stack != best)
                out.refusals[stack] = fmt::format("{} is a stack of the same night.", best->frame);
        }
        const StackChoice choice = choose(stack_evidence(night.frames, *best), limit_sigma);
        if (!choice.stack) {
            out.refusals[best] = "Its frames are used in place of this stack: " + choice.reason;
            continue;
        }
        for (const FrameFluxes* frame : night.frames)
            out.refusals[frame] =
                fmt::format("{}{} is used in its place: {}", replaced_by_stack, best->frame, choice.reason);
    }
    return out;
}

}  // namespace emberline::night
