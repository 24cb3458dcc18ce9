// SPDX-License-Identifier: MIT
#include "night/remove_host.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/aperture_grid.hpp"
#include "night/host_grid.hpp"
#include "night/host_template.hpp"
#include "night/relative_scale.hpp"
#include "night/surroundings.hpp"
#include "night/transient_place.hpp"
#include "numerics/robust.hpp"
#include "photometry/scene.hpp"
#include "photometry/smooth_host.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::HostLight;
using photometry::HostMethod;
using photometry::StarFlux;
using Frames = std::vector<const FrameFluxes*>;

constexpr double host_share = 0.2;       // of a band's frames that show host light: enough to treat them all
constexpr double least_share = 0.6;      // of a band's frames that a method must serve
constexpr double on_nucleus_fwhm = 0.7;  // nearer, no model tells the two apart
constexpr double blind_fwhm = 1.5;       // nearer, nothing tells a faint transient in a template
constexpr const char* on_nucleus_remark =
    "The transient lies on the host's nucleus, within the seeing: the magnitudes are those of both together, "
    "through one fixed angle. Only a template taken without the transient can tell them apart, to a few per "
    "cent of the nucleus's light.";
constexpr double left_in_template = 0.15, left_sigma = 5.0;  // of the transient's best light: refused

// What a method gave; frames that it could not serve are missing.
struct Answers {
    std::map<const FrameFluxes*, HostLight> lights;
    std::map<const FrameFluxes*, frame::Cutout> models;
    std::vector<std::string> remarks;
    std::optional<photometry::SkyShift> place;
    bool template_refused = false;
};

void remark_once(std::vector<std::string>& remarks, const std::string& remark) {
    if (std::find(remarks.begin(), remarks.end(), remark) == remarks.end()) remarks.push_back(remark);
}

const HostLight* light_by(const FrameFluxes& frame, HostMethod method) {
    for (const HostLight& light : frame.host_lights) {
        if (light.method == method) return &light;
    }
    return nullptr;
}

// The template tells nothing where the transient shines in it too: its own share goes missing everywhere.
std::optional<std::string> transient_left(const Frames& frames) {
    double brightest_e = 0.0, left_e = 0.0, left_err_e = 0.0;
    for (const FrameFluxes* frame : frames) {
        const HostLight* light = light_by(*frame, HostMethod::difference);
        const auto core = find_core(frame->apertures, frame->fwhm_px);
        if (light == nullptr || !core) continue;
        const double flux_e = light->flux_e[*core];
        if (!(flux_e > brightest_e)) continue;
        brightest_e = flux_e;
        left_e = light->template_light_e;
        left_err_e = light->template_light_err_e;
    }
    if (left_e < left_sigma * left_err_e || left_e < left_in_template * brightest_e) return std::nullopt;
    return fmt::format(
        "The host's template is refused: the transient still shines in it, with {:.0f} ± "
        "{:.0f} % of the light that is left after subtraction. Use a frame from before the "
        "outburst, or from long after.",
        100.0 * left_e / brightest_e, 100.0 * left_err_e / brightest_e);
}

// Why this frame's difference was not made, as measure_frame remarked it.
std::string template_remark(const FrameFluxes& frame) {
    for (const std::string& remark : frame.remarks) {
        if (remark.starts_with(template_refusal)) return remark.substr(std::string(template_refusal).size());
    }
    return {};
}

void move_to_place(HostLight& light, const FrameFluxes& frame, const photometry::SkyShift& place) {
    const auto moved = moved_light(frame, place);
    if (!moved) return;
    for (std::size_t k = 0; k < light.flux_e.size(); ++k) {
        light.flux_e[k] += moved->change_e[k];
        light.common_err_e[k] = std::hypot(light.common_err_e[k], moved->err_e[k]);
    }
}

// Nearer than so many median FWHM.
bool near_nucleus(const Frames& frames, const Campaign& campaign, double within_fwhm) {
    const auto nucleus = nucleus_shift(campaign);
    if (!nucleus) return false;
    std::vector<double> fwhm_arcsec;
    for (const FrameFluxes* frame : frames)
        fwhm_arcsec.push_back(frame->fwhm_px * frame->scale_arcsec_per_px);
    return std::hypot(nucleus->east_arcsec, nucleus->north_arcsec) <
           within_fwhm * numerics::median(std::move(fwhm_arcsec));
}

Answers by_template(const Frames& frames, const Campaign& campaign) {
    Answers out;
    std::size_t any = 0;
    for (const FrameFluxes* frame : frames) {
        if (light_by(*frame, HostMethod::difference) != nullptr) ++any;
    }
    if (any == 0) {
        // Every frame refused it for a reason of its own: the first stands for them.
        for (const FrameFluxes* frame : frames) {
            const std::string why = template_remark(*frame);
            if (why.empty()) continue;
            out.remarks.push_back(fmt::format("The host's template is not used. {}", why));
            out.template_refused = true;
            break;
        }
        return out;
    }
    if (near_nucleus(frames, campaign, blind_fwhm)) {
        out.remarks.emplace_back(
            "Whether the transient still shines in the template cannot be told so near the nucleus: take one "
            "from before the outburst, or from long after.");
    } else if (const auto refusal = transient_left(frames)) {
        out.remarks.push_back(*refusal);
        out.template_refused = true;
        return out;
    }
    out.place = place_on_differences(frames);
    std::size_t missed = 0;
    std::string why;
    for (const FrameFluxes* frame : frames) {
        const HostLight* light = light_by(*frame, HostMethod::difference);
        if (light == nullptr) {
            if (missed++ == 0) why = template_remark(*frame);
            continue;
        }
        HostLight own = *light;
        if (out.place) move_to_place(own, *frame, *out.place);
        for (const std::string& remark : own.remarks)
            remark_once(out.remarks, remark);
        out.lights[frame] = std::move(own);
        frame::Cutout model = frame->surroundings->cutout;
        for (std::size_t i = 0; i < model.adu.size(); ++i)
            model.adu[i] -= frame->surroundings->difference_adu[i];
        out.models[frame] = std::move(model);
    }
    if (missed > 0) {
        out.remarks.push_back(
            fmt::format("The host's template could not be subtracted from {} of {} frames. {}", missed,
                        frames.size(), why));
    }
    return out;
}

Answers by_scene(const Frames& frames, const std::set<std::string>& comparison, const Campaign& campaign,
                 const std::optional<photometry::SkyShift>& place) {
    Answers out;
    Frames able;
    std::vector<std::size_t> apertures;
    for (const FrameFluxes* frame : frames) {
        const auto psf = find_psf(frame->apertures);
        if (!frame->surroundings || frame->surroundings->psf.empty() || !psf) continue;
        able.push_back(frame);
        apertures.push_back(*psf);
    }
    const auto scales = relative_scales(able, apertures, comparison);
    std::vector<photometry::SceneFrame> scene;
    Frames fitted;
    for (std::size_t i = 0; i < able.size(); ++i) {
        if (!std::isfinite(scales[i].err)) continue;
        scene.push_back({&*able[i]->surroundings, host_grid(*able[i]), scales[i].scale, scales[i].err,
                         campaign.faded && able[i]->night >= *campaign.faded});
        fitted.push_back(able[i]);
    }
    if (fitted.empty()) {
        out.remarks.emplace_back(
            "No scene was fitted: no frame has a point-spread function and stars in "
            "common with the others.");
        return out;
    }
    auto fit = photometry::fit_scene(scene, {nucleus_shift(campaign), place});
    if (!fit) {
        out.remarks.push_back(one_line(fit.error()));
        return out;
    }
    for (std::size_t i = 0; i < fitted.size(); ++i) {
        out.lights[fitted[i]] = std::move(fit->lights[i]);
        out.models[fitted[i]] = std::move(fit->models[i]);
    }
    out.remarks = std::move(fit->remarks);
    out.place = fit->position;
    return out;
}

Answers by_smooth_model(const Frames& frames, const Campaign& campaign,
                        const std::optional<photometry::SkyShift>& place) {
    Answers out;
    out.place = place;
    for (const FrameFluxes* frame : frames) {
        if (!frame->surroundings) continue;
        auto fit =
            photometry::fit_smooth_host(*frame->surroundings, host_grid(*frame), nucleus_shift(campaign),
                                        place.value_or(photometry::SkyShift{}));
        if (!fit) {
            remark_once(out.remarks, one_line(fit.error()));
            continue;
        }
        for (const std::string& remark : fit->light.remarks)
            remark_once(out.remarks, remark);
        out.lights[frame] = std::move(fit->light);
        out.models[frame] = std::move(fit->model);
    }
    return out;
}

// The transient as the frame kept it, its light replaced by what is left of it without the host.
StarFlux host_free(const FrameFluxes& frame, HostLight light) {
    StarFlux star = *frame.find(photometry::transient_label);
    star.flux_e = light.flux_e;
    if (frame.surroundings) {
        // The annulus scatters by the host's structure as well; the sky's own noise is the stars'.
        star.sky_scatter_e = frame.surroundings->sky_scatter_adu * frame.surroundings->gain_e_per_adu;
    }
    for (Caveats& caveats : star.caveats) {
        caveats.remove(Caveat::host_unmodelled);
        caveats.remove(Caveat::sky_gradient);
        caveats.add(light.caveats);
        if (light.method != HostMethod::difference) caveats.add(Caveat::host_modelled);
    }
    star.host = std::move(light);
    return star;
}

bool host_shines(const Frames& frames) {
    std::size_t shown = 0;
    for (const FrameFluxes* frame : frames) {
        const StarFlux* transient = frame->find(photometry::transient_label);
        const bool own = transient != nullptr && !transient->caveats.empty() &&
                         transient->caveats.front().has(Caveat::host_unmodelled);
        if (own || !frame->host_lights.empty()) ++shown;
    }
    return static_cast<double>(shown) > host_share * static_cast<double>(frames.size());
}

class Group {
  public:
    Group(Frames frames, const std::set<std::string>& comparison, const Campaign& campaign)
        : frames_(std::move(frames)), comparison_(comparison), campaign_(campaign) {
        choice_.band = frames_.front()->band;
        choice_.instrument = frames_.front()->instrument;
        choice_.shines = host_shines(frames_);
    }

    HostChoice choose(HostRemoval& removal, bool keep_models) {
        if (choice_.shines || campaign_.host_method) {
            for (const HostMethod method : {HostMethod::difference, HostMethod::scene, HostMethod::smooth}) {
                if (campaign_.host_method && *campaign_.host_method != method) continue;
                if (method != HostMethod::difference && !campaign_.host_method &&
                    near_nucleus(frames_, campaign_, on_nucleus_fwhm)) {
                    // Within the seeing no model tells a transient from a nucleus.
                    remark_once(choice_.remarks, on_nucleus_remark);
                    removal.on_nucleus.insert(frames_.begin(), frames_.end());
                    break;
                }
                Answers answers = ask(method);
                for (const std::string& remark : answers.remarks)
                    remark_once(choice_.remarks, remark);
                choice_.template_refused = choice_.template_refused || answers.template_refused;
                if (answers.place) choice_.place = answers.place;
                const double served =
                    static_cast<double>(answers.lights.size()) / static_cast<double>(frames_.size());
                if (answers.lights.empty() || served < least_share) continue;
                use(method, std::move(answers), removal, keep_models);
                break;
            }
        }
        return std::move(choice_);
    }

  private:
    Answers ask(HostMethod method) {
        switch (method) {
            case HostMethod::difference:
                return by_template(frames_, campaign_);
            case HostMethod::scene:
                return by_scene(frames_, comparison_, campaign_, choice_.place);
            case HostMethod::smooth:
                return by_smooth_model(frames_, campaign_, choice_.place);
            case HostMethod::annulus:
                break;
        }
        return {};
    }

    void use(HostMethod method, Answers answers, HostRemoval& removal, bool keep_models) {
        choice_.method = method;
        for (const FrameFluxes* frame : frames_) {
            const auto light = answers.lights.find(frame);
            if (light == answers.lights.end()) {
                removal.unfit.insert(frame);
            } else {
                removal.transients.emplace(frame, host_free(*frame, std::move(light->second)));
            }
        }
        if (keep_models) choice_.models = std::move(answers.models);
    }

    Frames frames_;
    const std::set<std::string>& comparison_;
    const Campaign& campaign_;
    HostChoice choice_;
};

}  // namespace

HostRemoval remove_host(const Frames& frames, const std::set<std::string>& comparison,
                        const Campaign& campaign, bool keep_models) {
    std::map<std::pair<Band, std::string>, Frames> groups;
    for (const FrameFluxes* frame : frames)
        groups[{frame->band, frame->instrument}].push_back(frame);
    HostRemoval removal;
    for (auto& [key, members] : groups)
        removal.choices.push_back(
            Group(std::move(members), comparison, campaign).choose(removal, keep_models));
    return removal;
}

}  // namespace emberline::night
