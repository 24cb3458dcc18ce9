// SPDX-License-Identifier: MIT
#include "tasks/host_rows.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/look_at_star.hpp"
#include "tasks/find_measured.hpp"
#include "tasks/known_terms.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;
using photometry::HostMethod;

constexpr HostMethod all_methods[] = {HostMethod::difference, HostMethod::scene, HostMethod::smooth,
                                      HostMethod::annulus};
constexpr double least_noise_adu = 1e-6;

HostModel compare(const frame::Cutout& data, std::vector<double> model_adu, double noise_adu,
                  std::string method, bool used) {
    HostModel out{std::move(method), used, std::move(model_adu), {}};
    out.residual_sigma.reserve(out.model_adu.size());
    for (std::size_t i = 0; i < out.model_adu.size(); ++i)
        out.residual_sigma.push_back((static_cast<double>(data.adu[i]) - out.model_adu[i]) / noise_adu);
    return out;
}

std::string what_it_is(HostMethod method) {
    switch (method) {
        case HostMethod::difference:
            return "the frame without the transient, as the campaign's template has it, blurred and scaled "
                   "to "
                   "this frame";
        case HostMethod::scene:
            return "the host as all frames of the band together show it, blurred to this frame, and the sky";
        case HostMethod::smooth:
            return "a smooth host fitted to this frame's own pixels about the transient, and the sky";
        case HostMethod::annulus:
            break;
    }
    return "the sky";
}

// All but the methods.
HostRows rows_about(const FrameFluxes& frame, const night::Campaign& campaign) {
    const photometry::Surroundings& around = *frame.surroundings;
    HostRows out;
    out.frame = frame.frame;
    out.data = around.cutout;
    out.noise_adu = noise_in(around);
    out.transient = around.transient;
    out.nucleus = nucleus_in(around, campaign);
    return out;
}

HostRows by_models(const FrameFluxes& frame, const std::vector<const night::HostChoice*>& choices,
                   const std::optional<HostMethod>& in_use, const night::Campaign& campaign) {
    HostRows out = rows_about(frame, campaign);
    for (const night::HostChoice* choice : choices) {
        const frame::Cutout& model = choice->models.at(&frame);
        out.methods.push_back(compare(out.data, {model.adu.begin(), model.adu.end()}, out.noise_adu,
                                      word(choice->method), choice->method == in_use));
    }
    const night::HostChoice& first = *choices.front();
    out.words = fmt::format("The model by '{}' is {}. What is left is the transient{}.", word(first.method),
                            what_it_is(first.method),
                            first.method == in_use ? "" : "; the frame's magnitude was not measured by it");
    for (const std::string& remark : first.remarks)
        out.words += " " + remark;
    return out;
}

// Fluxes without a model keep the pixels all the same.
HostRows by_level(const FrameFluxes& frame, const night::Campaign& campaign) {
    HostRows out = rows_about(frame, campaign);
    out.methods.push_back(compare(out.data,
                                  std::vector<double>(out.data.adu.size(), frame.surroundings->sky_adu),
                                  out.noise_adu, "sky", true));
    out.words =
        "No model of the host was fitted to this frame, which is not in use or has too few stars: the model "
        "is "
        "the sky's level alone, and host and transient are left.";
    return out;
}

Result<HostRows> by_plane(const Workspace& workspace, const ledger::Ledger& ledger,
                          const FrameFluxes& frame) {
    const auto opened = open_with_plate(workspace, ledger, frame);
    if (!opened) return fail(opened.error());
    const auto view = night::FrameLook::open(*opened, frame, workspace.sequence, workspace.campaign);
    if (!view) return fail(view.error());
    const auto look = view->at(*frame.find(photometry::transient_label));
    if (!look) return fail(look.error());
    HostRows out;
    out.frame = frame.frame;
    out.data = look->cutout;
    out.noise_adu = std::max(look->sky.scatter_adu, least_noise_adu);
    out.transient = look->light.position;
    std::vector<double> model;
    model.reserve(out.data.adu.size());
    const frame::PixelBox& box = out.data.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            model.push_back(look->sky.level_adu + look->sky.slope_x_adu * (x - out.transient.x) +
                            look->sky.slope_y_adu * (y - out.transient.y));
        }
    }
    out.methods.push_back(compare(out.data, std::move(model), out.noise_adu, "sky", true));
    out.words =
        "No host's light shows under the transient: the model is the sky of its annulus, a plane where that "
        "is tilted. What is left is the transient and its neighbours.";
    return out;
}

}  // namespace

std::vector<HostTrial> try_host_methods(const std::vector<FrameFluxes>& frames, const Workspace& workspace,
                                        const night::SetAsideByObserver& set_aside) {
    std::vector<HostTrial> trials;
    for (const HostMethod method : all_methods) {
        night::Campaign trial = workspace.campaign;
        trial.host_method = method;
        auto solved = night::solve_campaign(frames, workspace.sequence, trial, set_aside, true);
        if (solved) trials.push_back({method, std::move(*solved)});
    }
    return trials;
}

std::vector<const night::HostChoice*> host_models(const std::vector<HostTrial>& trials, const Band& band,
                                                  const std::string& instrument) {
    std::vector<const night::HostChoice*> choices;
    for (const HostTrial& trial : trials) {
        for (const night::HostChoice& host : trial.solved.host.choices) {
            if (host.band == band && host.instrument == instrument && !host.models.empty())
                choices.push_back(&host);
        }
    }
    return choices;
}

double noise_in(const photometry::Surroundings& around) {
    return std::max(around.sky_scatter_adu, least_noise_adu);
}

std::optional<frame::PixelPosition> nucleus_in(const photometry::Surroundings& around,
                                               const night::Campaign& campaign) {
    if (!campaign.nucleus) return std::nullopt;
    const SkyOffset away = offset(campaign.position, *campaign.nucleus);
    return around.pixel(away.east.arcseconds(), away.north.arcseconds());
}

Result<HostTrials> HostTrials::solve(const Workspace& asked, const ledger::Ledger& ledger) {
    HostTrials out;
    auto frames = ledger.frames();
    if (!frames) return fail(frames.error());
    out.frames_ = std::move(*frames);
    const auto set_aside = set_aside_in(ledger);
    if (!set_aside) return fail(set_aside.error());
    auto known = known_terms(asked, ledger);
    if (!known) return fail(known.error());
    Workspace workspace = asked;
    workspace.campaign = std::move(known->campaign);
    auto chosen =
        night::solve_campaign(out.frames_, workspace.sequence, workspace.campaign, *set_aside, false);
    if (!chosen) return fail(chosen.error());
    out.chosen_ = std::move(chosen->host.choices);
    const bool shines = std::any_of(out.chosen_.begin(), out.chosen_.end(),
                                    [](const night::HostChoice& host) { return host.shines; });
    if (shines) out.trials_ = try_host_methods(out.frames_, workspace, *set_aside);
    return out;
}

const FrameFluxes* HostTrials::find(const std::string& fingerprint, int plane) const {
    const auto found = std::find_if(frames_.begin(), frames_.end(), [&](const FrameFluxes& frame) {
        return frame.plane == plane && frame.fingerprint == fingerprint;
    });
    return found == frames_.end() ? nullptr : &*found;
}

std::optional<HostMethod> HostTrials::in_use(const FrameFluxes& frame) const {
    for (const night::HostChoice& host : chosen_) {
        if (host.shines && host.band == frame.band && host.instrument == frame.instrument) return host.method;
    }
    return std::nullopt;
}

std::vector<const night::HostChoice*> HostTrials::models_of(const FrameFluxes& frame) const {
    std::vector<const night::HostChoice*> choices = host_models(trials_, frame.band, frame.instrument);
    std::erase_if(choices, [&](const night::HostChoice* choice) { return !choice->models.contains(&frame); });
    const auto used = in_use(frame);
    std::stable_partition(choices.begin(), choices.end(),
                          [&](const night::HostChoice* choice) { return choice->method == used; });
    return choices;
}

Result<HostRows> host_rows(const Workspace& workspace, const ledger::Ledger& ledger, const HostTrials& trials,
                           const std::string& fingerprint, int plane) {
    const FrameFluxes* frame = trials.find(fingerprint, plane);
    if (frame == nullptr) return fail(no_such_frame({fingerprint, plane}));
    const auto choices = trials.models_of(*frame);
    if (!choices.empty()) return by_models(*frame, choices, trials.in_use(*frame), workspace.campaign);
    if (frame->surroundings) return by_level(*frame, workspace.campaign);
    return by_plane(workspace, ledger, *frame);
}

}  // namespace emberline::tasks
