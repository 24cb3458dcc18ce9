// SPDX-License-Identifier: MIT
#include "night/solve_campaign.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <deque>
#include <set>
#include <tuple>

#include "night/choose_aperture.hpp"
#include "night/choose_stack.hpp"
#include "night/flip_step.hpp"
#include "night/measure_target.hpp"
#include "night/night_colours.hpp"
#include "night/remove_host.hpp"
#include "night/shared_noise.hpp"
#include "night/solve_band.hpp"
#include "night/star_colours.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;

std::set<std::string> usable_labels(const standard::Sequence& sequence, const Campaign& campaign,
                                    const SetAsideByObserver& set_aside) {
    std::set<std::string> labels;
    for (const standard::ComparisonStar& star : sequence.stars) {
        if (star.role != standard::Role::comparison || star.label == campaign.check_label) continue;
        if (!set_aside.stars.contains(star.label)) labels.insert(star.label);
    }
    return labels;
}

const standard::ComparisonStar* check_star_of(const standard::Sequence& sequence, const Campaign& campaign,
                                              const SetAsideByObserver& set_aside) {
    const standard::ComparisonStar* check = sequence.find(campaign.check_label);
    for (const standard::ComparisonStar& star : sequence.stars) {
        if (check == nullptr && star.role == standard::Role::check) check = &star;
    }
    return check != nullptr && set_aside.stars.contains(check->label) ? nullptr : check;
}

std::string refusal_by_observer(const FrameFluxes& frame, const SetAsideByObserver& set_aside) {
    if (const auto found = set_aside.frames.find(frame.frame); found != set_aside.frames.end()) {
        return fmt::format("Set aside by the observer: {}", found->second);
    }
    if (const auto found = set_aside.nights.find(frame.night); found != set_aside.nights.end()) {
        return fmt::format("Its night is set aside by the observer: {}", found->second);
    }
    return {};
}

// A file that was solved again, packed or saved anew is another file of the same exposure: the last one
// counts.
void refuse_repeats(std::vector<JudgedFrame>& frames) {
    std::map<std::tuple<std::string, Band, std::string>, std::size_t> last;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        if (!frames[i].refusal.empty()) continue;
        const FrameFluxes& f = *frames[i].fluxes;
        const auto key =
            std::tuple(f.instrument, f.band, fmt::format("{:.8f} {:.3f}", f.mid_exposure.jd(), f.exposure_s));
        const auto [at, fresh] = last.try_emplace(key, i);
        if (fresh) continue;
        frames[at->second].refusal =
            fmt::format("It is the same exposure as {}, which was measured later.", f.frame);
        at->second = i;
    }
}

// Stacks and the frames in them are the same light.
void choose_stacks_or_frames(std::vector<JudgedFrame>& frames, const SetAsideByObserver& set_aside,
                             double limit_sigma, std::vector<std::string>& remarks) {
    std::vector<const FrameFluxes*> used;
    std::map<std::string, std::string> held_back;
    for (const JudgedFrame& frame : frames) {
        if (frame.refusal.empty()) used.push_back(frame.fluxes);
        if (set_aside.frames.contains(frame.fluxes->frame))
            held_back.emplace(frame.fluxes->fingerprint, frame.fluxes->frame);
    }
    StacksAndFrames chosen = choose_stacks(used, held_back, limit_sigma);
    for (JudgedFrame& frame : frames) {
        if (const auto found = chosen.refusals.find(frame.fluxes); found != chosen.refusals.end())
            frame.refusal = found->second;
    }
    std::move(chosen.remarks.begin(), chosen.remarks.end(), std::back_inserter(remarks));
}

std::vector<JudgedFrame> judged_by_observer(const std::vector<FrameFluxes>& frames,
                                            const SetAsideByObserver& set_aside) {
    std::vector<JudgedFrame> judged;
    for (const FrameFluxes& frame : frames) {
        JudgedFrame entry;
        entry.fluxes = &frame;
        entry.refusal = refusal_by_observer(frame, set_aside);
        judged.push_back(std::move(entry));
    }
    refuse_repeats(judged);
    std::stable_sort(judged.begin(), judged.end(), [](const JudgedFrame& a, const JudgedFrame& b) {
        return days_between(a.fluxes->mid_exposure, b.fluxes->mid_exposure) > 0.0;
    });
    return judged;
}

std::vector<const FrameFluxes*> in_use(const std::vector<JudgedFrame>& judged) {
    std::vector<const FrameFluxes*> frames;
    for (const JudgedFrame& frame : judged) {
        if (frame.refusal.empty()) frames.push_back(frame.fluxes);
    }
    return frames;
}

// A frame without its surroundings, the transient's light alone in place of what the annulus gave.
FrameFluxes with_transient(const FrameFluxes& frame, photometry::StarFlux transient) {
    FrameFluxes out;
    static_cast<photometry::FrameRecord&>(out) = frame;
    for (photometry::StarFlux& star : out.stars) {
        if (star.label == photometry::transient_label) star = std::move(transient);
    }
    return out;
}

// Frames whose host was taken away stand in `replaced`, and `judged` points there.
void put_in_place(const HostRemoval& removal, std::vector<JudgedFrame>& judged,
                  std::deque<FrameFluxes>& replaced) {
    for (JudgedFrame& frame : judged) {
        if (!frame.refusal.empty()) continue;
        if (removal.unfit.contains(frame.fluxes)) {
            frame.refusal = "Its host could not be taken away as in the other frames.";
            continue;
        }
        if (removal.on_nucleus.contains(frame.fluxes)) frame.on_nucleus = true;
        const auto found = removal.transients.find(frame.fluxes);
        if (found == removal.transients.end()) continue;
        replaced.push_back(with_transient(*frame.fluxes, found->second));
        frame.fluxes = &replaced.back();
    }
}

// The whole campaign's, since one angle may have to serve all of it.
void choose_all_apertures(std::vector<JudgedFrame>& judged, const std::set<std::string>& usable,
                          const Campaign& campaign) {
    const auto chosen = choose_apertures(in_use(judged), usable, campaign.measure);
    std::size_t next = 0;
    for (JudgedFrame& frame : judged) {
        if (frame.refusal.empty()) frame.aperture = chosen[next++];
    }
}

// The host that was taken away, over the aperture that it was taken from: the middle of the frames.
std::optional<double> surface_brightness(const HostChoice& host, const std::vector<BandSolution>& solutions) {
    std::vector<double> mags;
    for (const BandSolution& solution : solutions) {
        if (solution.band != host.band || solution.instrument != host.instrument || !solution.zero_points)
            continue;
        for (const JudgedFrame& frame : solution.frames) {
            const auto* star = frame.fluxes->find(photometry::transient_label);
            if (!frame.refusal.empty() || star == nullptr || !star->host) continue;
            const std::size_t k = *frame.aperture;
            const double arcsec2 = star->area_px[k] * std::pow(frame.fluxes->scale_arcsec_per_px, 2);
            const double host_e = star->host->host_e[k];
            if (!(host_e > 0.0)) continue;
            mags.push_back(solution.zero_points->frames[*frame.solved].zero_point_mag -
                           2.5 * std::log10(host_e / arcsec2));
        }
    }
    if (mags.empty()) return std::nullopt;
    return numerics::median(std::move(mags));
}

void add_verdicts(const BandSolution& solution, std::vector<StarVerdict>& verdicts) {
    verdicts.insert(verdicts.end(), solution.wrong_stars.begin(), solution.wrong_stars.end());
    if (!solution.zero_points) return;
    for (std::size_t i = 0; i < solution.stars.size(); ++i) {
        const standard::StarOffset& star = solution.zero_points->stars[i];
        if (star.frames == 0) continue;
        verdicts.push_back({solution.instrument, solution.band, solution.stars[i].label,
                            star.offset_mag.value, star.offset_mag.err, star.scatter_mag,
                            star.expected_scatter_mag, star.suspect, star.why});
    }
}

// The aperture that the settings ask for, where no frame in use was measured with it.
std::optional<std::string> aperture_nowhere(const std::vector<JudgedFrame>& frames,
                                            const MeasureSettings& settings) {
    if (!settings.aperture_arcsec && !settings.aperture_fwhm) return std::nullopt;
    bool any_in_use = false;
    for (const JudgedFrame& frame : frames) {
        if (frame.aperture) return std::nullopt;
        any_in_use = any_in_use || frame.refusal.empty();
    }
    if (!any_in_use) return std::nullopt;
    return settings.aperture_arcsec ? fmt::format("{} arcsec", *settings.aperture_arcsec)
                                    : fmt::format("{} FWHM", *settings.aperture_fwhm);
}

}  // namespace

Result<CampaignSolution> solve_campaign(const std::vector<FrameFluxes>& frames,
                                        const standard::Sequence& sequence, const Campaign& campaign,
                                        const SetAsideByObserver& set_aside, bool keep_host_models,
                                        const HostRemoval* known_host) {
    if (frames.empty()) {
        return fail({.what = "No frame has been measured yet.",
                     .where = campaign.folder,
                     .mend = "Measure some first: `emberline measure FRAMES`."});
    }
    const std::set<std::string> usable = usable_labels(sequence, campaign, set_aside);
    const standard::ComparisonStar* check = check_star_of(sequence, campaign, set_aside);
    std::map<std::pair<Band, std::string>, std::vector<JudgedFrame>> groups;
    std::vector<JudgedFrame> judged = judged_by_observer(frames, set_aside);
    CampaignSolution out;
    choose_stacks_or_frames(judged, set_aside, campaign.measure.limit_sigma, out.remarks);
    std::deque<FrameFluxes> replaced;
    out.host =
        known_host != nullptr ? *known_host : remove_host(in_use(judged), usable, campaign, keep_host_models);
    put_in_place(out.host, judged, replaced);
    choose_all_apertures(judged, usable, campaign);
    if (const auto aperture = aperture_nowhere(judged, campaign.measure)) {
        return fail({.what = fmt::format("No frame was measured with the aperture of {}.", *aperture),
                     .where = campaign.folder,
                     .mend = "Measure the frames again, or take the aperture out of [measure]."});
    }
    for (JudgedFrame& frame : judged) {
        groups[{frame.fluxes->band, frame.fluxes->instrument}].push_back(std::move(frame));
    }
    std::vector<BandSolution> solutions;
    for (auto& [key, members] : groups)
        solutions.push_back(solve_band(std::move(members), sequence, usable, campaign));

    doubt_patterns(solutions, sequence, out.remarks);
    const NightColours colours(solutions, campaign);
    std::vector<NoiseOfBands> noise;
    for (const BandSolution& solution : solutions) {
        BandMeasurements measured =
            measure_transient(solution, check, colours.of(solution), campaign.measure.limit_sigma);
        std::move(measured.noise.begin(), measured.noise.end(), std::back_inserter(noise));
        std::move(measured.frames.begin(), measured.frames.end(), std::back_inserter(out.solution.frames));
        std::move(measured.nights.begin(), measured.nights.end(), std::back_inserter(out.solution.nights));
        add_verdicts(solution, out.solution.stars);
        if (!solution.no_solution.empty()) {
            out.remarks.push_back(
                fmt::format("{}, {}: {}", solution.band.name(), solution.instrument, solution.no_solution));
        }
    }
    share_noise(out.solution.nights, noise, out.solution.frames);
    for (std::string& sentence : flag_flip_steps(frames, out.solution))
        out.remarks.push_back(std::move(sentence));
    for (HostChoice& host : out.host.choices)
        host.surface_mag_arcsec2 = surface_brightness(host, solutions);
    std::stable_sort(out.solution.frames.begin(), out.solution.frames.end(),
                     [](const auto& a, const auto& b) { return a.jd_utc < b.jd_utc; });
    std::stable_sort(
        out.solution.nights.begin(), out.solution.nights.end(), [](const auto& a, const auto& b) {
            return std::tie(a.night, a.band, a.instrument) < std::tie(b.night, b.band, b.instrument);
        });
    return out;
}

}  // namespace emberline::night
