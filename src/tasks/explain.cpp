// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "night/aperture_grid.hpp"
#include "numerics/robust.hpp"
#include "picture/host_picture.hpp"
#include "tasks/host_rows.hpp"
#include "tasks/known_terms.hpp"
#include "tasks/measure.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

std::vector<Surroundings> surroundings_of(const std::vector<FrameFluxes>& frames,
                                          const night::Solution& solution) {
    std::vector<Surroundings> out;
    for (const night::NightMeasurement& night : solution.nights) {
        std::vector<double> fwhm, sky, scatter, own, others;
        bool host = false;
        for (const FrameFluxes& frame : frames) {
            if (frame.night != night.night || frame.band != night.band ||
                frame.instrument != night.instrument)
                continue;
            fwhm.push_back(frame.fwhm_px * frame.scale_arcsec_per_px);
            for (const StarFlux& star : frame.stars) {
                if (star.label != photometry::transient_label) {
                    others.push_back(star.sky_unevenness);
                    continue;
                }
                own.push_back(star.sky_unevenness);
                sky.push_back(star.sky_e_per_px);
                scatter.push_back(star.sky_scatter_e);
                host = host || (!star.caveats.empty() && star.caveats.front().has(Caveat::host_unmodelled));
            }
        }
        if (own.empty()) continue;
        Surroundings s;
        s.night = night.night;
        s.band = night.band;
        s.aperture_arcsec = night.aperture_arcsec;
        s.fwhm_arcsec = numerics::median(fwhm);
        s.sky_e_per_px = numerics::median(sky);
        s.sky_scatter_e = numerics::median(scatter);
        s.unevenness = numerics::median(own);
        s.comparison_unevenness = others.empty() ? 0.0 : numerics::median(others);
        s.host_unmodelled = host;
        out.push_back(s);
    }
    return out;
}

std::vector<double> multiples_in(const std::vector<FrameFluxes>& frames) {
    std::vector<double> multiples;
    for (const auto& aperture : frames.front().apertures) {
        if (!aperture.fwhm_multiple) continue;
        const bool everywhere = std::all_of(frames.begin(), frames.end(), [&](const FrameFluxes& frame) {
            return night::find_multiple(frame.apertures, *aperture.fwhm_multiple).has_value();
        });
        if (everywhere) multiples.push_back(*aperture.fwhm_multiple);
    }
    return multiples;
}

using photometry::HostMethod;

bool same_night(const night::NightMeasurement& a, const night::NightMeasurement& b) {
    return a.night == b.night && a.band == b.band && a.instrument == b.instrument;
}

// The usual growth of the light of stars and transient, each over the largest aperture's: the middle of all
// stars and frames of a night, at the multiples of the FWHM that all its frames have.
std::vector<GrowthOfLight> growth_of(const std::vector<FrameFluxes>& frames,
                                     const night::Solution& solution) {
    std::vector<GrowthOfLight> out;
    for (const night::NightMeasurement& night : solution.nights) {
        std::vector<FrameFluxes> own;
        for (const FrameFluxes& frame : frames) {
            if (frame.night == night.night && frame.band == night.band &&
                frame.instrument == night.instrument)
                own.push_back(frame);
        }
        if (own.empty()) continue;
        GrowthOfLight growth{night.night, night.band, multiples_in(own), {}, {}};
        if (growth.radius_fwhm.empty()) continue;
        for (const double multiple : growth.radius_fwhm) {
            std::vector<double> stars, transient;
            for (const FrameFluxes& frame : own) {
                const std::size_t k = *night::find_multiple(frame.apertures, multiple);
                const std::size_t last = *night::find_multiple(frame.apertures, growth.radius_fwhm.back());
                for (const StarFlux& star : frame.stars) {
                    if (last >= star.flux_e.size() || !(star.flux_e[last] > 0.0)) continue;
                    (star.label == photometry::transient_label ? transient : stars)
                        .push_back(star.flux_e[k] / star.flux_e[last]);
                }
            }
            growth.stars.push_back(stars.empty() ? 0.0 : numerics::median(std::move(stars)));
            growth.transient.push_back(transient.empty() ? 0.0 : numerics::median(std::move(transient)));
        }
        out.push_back(std::move(growth));
    }
    return out;
}

// The sharpest frame that every method has a model of.
const FrameFluxes* frame_to_show(const std::vector<const night::HostChoice*>& choices) {
    const FrameFluxes* best = nullptr;
    for (const auto& [frame, model] : choices.front()->models) {
        const bool everywhere =
            std::all_of(choices.begin(), choices.end(),
                        [&shown = frame](const night::HostChoice* c) { return c->models.contains(shown); });
        if (everywhere && (best == nullptr || frame->fwhm_px < best->fwhm_px)) best = frame;
    }
    return best;
}

// What one band's methods leave of one frame.
Result<std::string> draw(const Workspace& workspace, const std::vector<const night::HostChoice*>& choices) {
    const FrameFluxes* frame = frame_to_show(choices);
    if (frame == nullptr) return std::string();
    const photometry::Surroundings& around = *frame->surroundings;
    picture::HostPicture picture;
    picture.title = fmt::format("{}, {}, {}", workspace.campaign.name, frame->band.name(), frame->night);
    picture.transient = around.transient;
    picture.scale_arcsec_per_px = frame->scale_arcsec_per_px;
    picture.px_per_arcsec = around.px_per_arcsec;
    picture.nucleus = nucleus_in(around, workspace.campaign);
    for (const night::HostChoice* choice : choices) {
        picture.rows.push_back(
            {word(choice->method), around.cutout, choice->models.at(frame), noise_in(around)});
    }
    const std::string path = workspace.out_path(fmt::format("host_{}.png", frame->band.name()));
    if (auto drawn = picture::draw_host(picture, path); !drawn) return fail(drawn.error());
    return path;
}

// Every method that some band can use, solved for the whole campaign.
Result<void> try_methods(const Workspace& workspace, const std::vector<FrameFluxes>& frames,
                         const night::SetAsideByObserver& set_aside, const night::CampaignSolution& chosen,
                         Explanation& out) {
    std::map<std::pair<Band, std::string>, std::string> shines;
    for (const night::HostChoice& host : chosen.host.choices) {
        if (!host.shines) continue;
        shines[{host.band, host.instrument}] = word(host.method);
        out.hosts.push_back(
            {host.band, host.instrument, word(host.method), host.surface_mag_arcsec2, host.place});
        for (const std::string& remark : host.remarks)
            out.remarks.push_back(fmt::format("{}, {}: {}", host.band.name(), host.instrument, remark));
    }
    if (shines.empty()) return {};
    const std::vector<HostTrial> trials = try_host_methods(frames, workspace, set_aside);
    for (const HostTrial& trial : trials) {
        for (const night::NightMeasurement& night : trial.solved.solution.nights) {
            const auto own = shines.find({night.band, night.instrument});
            if (own == shines.end()) continue;
            // A band that cannot have this method fell back to the annulus, which has a line of its own.
            const bool annulus = night.method == "aperture" || night.method == "psf";
            if (annulus != (trial.method == HostMethod::annulus)) continue;
            MethodAnswer answer{night.night,          night.band,          night.instrument,
                                night.method,         night.magnitude_mag, night.random_err_mag,
                                night.common_err_mag, night.limit_mag,     false};
            answer.chosen = std::any_of(chosen.solution.nights.begin(), chosen.solution.nights.end(),
                                        [&](const night::NightMeasurement& n) {
                                            return same_night(n, night) && n.method == night.method;
                                        });
            out.methods.push_back(std::move(answer));
        }
    }
    std::stable_sort(
        out.methods.begin(), out.methods.end(), [](const MethodAnswer& a, const MethodAnswer& b) {
            return std::tie(a.night, a.band, a.instrument) < std::tie(b.night, b.band, b.instrument);
        });
    if (auto made = make_out_folder(workspace); !made) return made;
    for (const auto& [key, method] : shines) {
        const auto choices = host_models(trials, key.first, key.second);
        if (choices.empty()) continue;
        const auto drawn = draw(workspace, choices);
        if (!drawn) return fail(drawn.error());
        if (!drawn->empty()) out.pictures.push_back(*drawn);
    }
    return {};
}

}  // namespace

Result<Explanation> explain(const Workspace& asked) {
    const auto ledger = ledger::Ledger::open(asked.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto frames = ledger->frames();
    if (!frames) return fail(frames.error());
    const auto set_aside = set_aside_in(*ledger);
    if (!set_aside) return fail(set_aside.error());
    auto known = known_terms(asked, *ledger);
    if (!known) return fail(known.error());
    Workspace workspace = asked;
    workspace.campaign = std::move(known->campaign);
    const auto chosen = night::solve_campaign(*frames, workspace.sequence, workspace.campaign, *set_aside);
    if (!chosen) return fail(chosen.error());
    Explanation out;
    out.surroundings = surroundings_of(*frames, chosen->solution);
    out.growth = growth_of(*frames, chosen->solution);
    if (auto tried = try_methods(workspace, *frames, *set_aside, *chosen, out); !tried)
        return fail(tried.error());
    for (const double multiple : multiples_in(*frames)) {
        night::Campaign trial = workspace.campaign;
        trial.measure.aperture_arcsec.reset();
        trial.measure.aperture_fwhm = multiple;
        const auto solved =
            night::solve_campaign(*frames, workspace.sequence, trial, *set_aside, false, &chosen->host);
        if (!solved) continue;
        for (const night::NightMeasurement& night : solved->solution.nights) {
            ApertureAnswer answer{night.night,         night.band,           night.instrument, multiple,
                                  night.magnitude_mag, night.random_err_mag, night.limit_mag,  false};
            for (const night::NightMeasurement& own : chosen->solution.nights) {
                if (own.night == night.night && own.band == night.band && own.instrument == night.instrument)
                    answer.chosen = std::abs(own.aperture_arcsec - night.aperture_arcsec) < 1e-6;
            }
            out.answers.push_back(answer);
        }
    }
    return out;
}

}  // namespace emberline::tasks
