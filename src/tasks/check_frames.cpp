// SPDX-License-Identifier: MIT
// The frames of a campaign against its settings: by their headers, then one of each band by its pixels.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/frame_doubts.hpp"
#include "night/frame_needs.hpp"
#include "night/host_template.hpp"
#include "night/measure_frame.hpp"
#include "night/plate_doubt.hpp"
#include "night/plate_finder.hpp"
#include "night/position_slip.hpp"
#include "night/site_doubt.hpp"
#include "night/star_noise.hpp"
#include "sky/precession.hpp"
#include "sky/time_scales.hpp"
#include "tasks/check_parts.hpp"
#include "tasks/contained.hpp"
#include "tasks/find_files.hpp"

namespace emberline::tasks {
namespace {

constexpr std::size_t most_groups_told = 12;
constexpr double seen_sigma = 3.0, surely_seen_sigma = 10.0, much_brighter = 5.0;
constexpr double most_apart_deg = 0.5;  // precession since 2000 moves less; a chance source is not looked for

std::string plural(std::size_t n, const char* what) {
    return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s");
}

// Without the file's own name, so that the same on many frames is one group.
void put_together(std::map<std::string, FrameGroup>& groups, const std::string& name, Problem problem) {
    FrameGroup& group = groups[problem.what + problem.mend];
    if (group.frames++ > 0) return;
    group.first = name;
    group.problem = std::move(problem);
}

Problem told(const FrameGroup& group) {
    Problem problem = group.problem;
    problem.where = group.frames == 1
                        ? group.first
                        : fmt::format("{}, {} for one", plural(group.frames, "frame"), group.first);
    return problem;
}

double transient_sigma(const photometry::FrameFluxes& fluxes) {
    const photometry::StarFlux& star = fluxes.stars.front();
    if (star.flux_e.empty()) return 0.0;
    const std::size_t k = star.flux_e.size() / 2;
    const double variance = night::noise_terms(fluxes, star, k).variance_e2(0.0);
    return variance > 0.0 ? star.flux_e[k] / std::sqrt(variance) : 0.0;
}

// Whether the sequence's stars would be found, had their positions been written for the equinox of the date.
bool of_date_fits(const frame::Frame& frame, standard::Sequence sequence, const night::Campaign& campaign) {
    for (standard::ComparisonStar& star : sequence.stars)
        star.position = sky::from_equinox_of_date(star.position, frame.facts().mid_exposure->value);
    const auto fluxes = night::measure_frame(frame, "", "", sequence, campaign, nullptr);
    return fluxes && 2 * fluxes->stars_found >= fluxes->stars_expected &&
           fluxes->stars_found >= static_cast<int>(few_stars) &&
           !night::plate_in_doubt(*fluxes, sequence, campaign);
}

std::string of_date_mend(const frame::Frame& frame) {
    return fmt::format(
        "They are there as places of the equinox of {}: the sequence's positions must be J2000.",
        sky::iso_date(frame.facts().mid_exposure->value).substr(0, 4));
}

// What the frame's own stars were matched with, where the solution that they give lets it be measured.
std::optional<std::string> mended_by(const std::vector<frame::Frame>& frames, const frame::Frame& frame,
                                     const standard::Sequence& sequence, const night::Campaign& campaign) {
    const auto found = night::PlateFinder(campaign, sequence).find(frames);
    if (!found) return std::nullopt;
    const frame::Frame solved =
        frame.with_plate(found->solution.fit.wcs,
                         {true, static_cast<int>(found->solution.matched), found->solution.fit.rms_arcsec});
    const auto fluxes = night::measure_frame(solved, "", "", sequence, campaign, nullptr);
    if (!fluxes) return std::nullopt;
    return found->against;
}

struct BrighterPlace {
    SkyPosition place;
    double sigma = 0.0;
    std::string words;
};

// Where another reading of the transient's coordinates, not far from it, meets much more light.
std::optional<BrighterPlace> brighter_place(const frame::Frame& frame, const standard::Sequence& sequence,
                                            const night::Campaign& campaign, double sigma) {
    BrighterPlace out;
    night::Campaign moved = campaign;
    const auto slip = night::position_slip(
        {campaign.position}, frame.facts().mid_exposure->value, [&](const SkyPosition& place) {
            const Angle apart = separation(place, campaign.position);
            const auto pixel = frame.wcs()->pixel(place);
            if (apart.degrees() > most_apart_deg || !pixel || !frame.facts().holds(*pixel)) return false;
            moved.position = place;
            const auto there = night::measure_frame(frame, "", "", sequence, moved, nullptr);
            out.sigma = there ? transient_sigma(*there) : 0.0;
            return out.sigma > std::max(surely_seen_sigma, much_brighter * sigma);
        });
    if (!slip) return std::nullopt;
    out.place = slip->meant.front();
    out.words = slip->words;
    return out;
}

}  // namespace

bool CampaignChecker::see_field(const frame::Frame& frame, const std::string& name) {
    const frame::FrameFacts& facts = frame.facts();
    const frame::Wcs& wcs = *frame.wcs();
    const auto on_frame = [&](const SkyPosition& place) {
        const auto p = wcs.pixel(place);
        return p && facts.holds(*p);
    };
    ++seen_.solved;
    if (!on_frame(workspace_.campaign.position)) return false;
    ++seen_.with_target;
    std::size_t stars = 0;
    const std::string check = check_label(workspace_);
    for (const standard::ComparisonStar& star : workspace_.sequence.stars) {
        if (!on_frame(star.position)) continue;
        seen_.labels_seen.insert(star.label);
        const bool counts = star.role == standard::Role::comparison && star.label != check &&
                            star.magnitude(sequence_band(facts.band->value));
        stars += counts ? 1 : 0;
    }
    if (!seen_.fewest_stars || stars < *seen_.fewest_stars) {
        seen_.fewest_stars = stars;
        seen_.poorest = name;
    }
    seen_.most_stars = std::max(seen_.most_stars.value_or(0), stars);
    return true;
}

void CampaignChecker::see(const frame::Frame& frame, const std::string& name) {
    const frame::FrameFacts& facts = frame.facts();
    ++seen_.pictures;
    if (facts.kind && facts.kind->value != frame::FrameKind::light) {
        ++seen_.calibration;
        return;
    }
    if (facts.plane == 0) {
        for (const night::FrameDoubt& doubt : night::frame_doubts(facts, workspace_.campaign, sky::now()))
            put_together(seen_.doubted, name, {.what = doubt.what, .where = {}, .mend = doubt.mend});
        if (facts.mid_exposure) seen_.times.emplace_back(name, facts.mid_exposure->value);
    }
    if (const auto needs = night::needs_of(facts); !needs) {
        put_together(seen_.refused, name, needs.error());
        return;
    }
    const bool solvable = frame.wcs() || workspace_.campaign.plate.solve;
    if (!solvable) {
        put_together(seen_.refused, name, frame.wcs().error());
        return;
    }
    ++seen_.measurable;
    ++seen_.bands[facts.band->value.name()];
    const double longitude = workspace_.campaign.site ? workspace_.campaign.site->longitude.degrees()
                             : facts.site             ? facts.site->value.longitude.degrees()
                                                      : 0.0;
    seen_.nights.insert(sky::night_of(facts.mid_exposure->value, longitude));
    if (frame.wcs()) {
        const bool on_it = see_field(frame, name);
        FrameToTry& chosen = seen_.one_of_a_band[facts.band->value.name()];
        if (chosen.path.empty() || (on_it && !chosen.shows_target)) chosen = {facts.path, on_it};
    } else if (seen_.first_unsolved.empty()) {
        seen_.first_unsolved = facts.path;
    }
}

void CampaignChecker::frames(const std::vector<std::string>& files) {
    seen_.files = files;
    for (const std::string& path : files) {
        const std::string name = frame_name(path, workspace_.campaign.folder);
        const auto refuse = [&](const Problem& problem) {
            ++seen_.pictures;
            put_together(seen_.refused, name, problem);
        };
        const auto thrown = contained(path, [&] {
            const auto opened = frame::open_frames(path, workspace_.campaign.instruments, &masters_);
            if (!opened) return refuse(opened.error());
            for (const frame::Frame& frame : *opened)
                see(frame, name);
        });
        if (thrown) refuse(*thrown);
    }
    check_.frames = seen_.pictures;
    check_.measurable = seen_.measurable;
    tell_frames();
}

void CampaignChecker::tell_refused() {
    std::vector<const FrameGroup*> groups;
    for (const auto& [key, group] : seen_.refused)
        groups.push_back(&group);
    std::stable_sort(groups.begin(), groups.end(),
                     [](const FrameGroup* a, const FrameGroup* b) { return a->frames > b->frames; });
    std::size_t left_out = 0;
    for (std::size_t n = 0; n < groups.size(); ++n) {
        if (n < most_groups_told) {
            wrong("frames", told(*groups[n]));
        } else {
            left_out += groups[n]->frames;
        }
    }
    if (left_out == 0) return;
    wrong("frames", {.what = fmt::format("{} cannot be measured for {}.", plural(left_out, "more frame"),
                                         plural(groups.size() - most_groups_told, "other reason")),
                     .where = {},
                     .mend = "Mend what stands above, and run inspect again."});
}

void CampaignChecker::tell_frames() {
    std::string bands;
    for (const auto& [band, n] : seen_.bands)
        bands += fmt::format("{}{} {}", bands.empty() ? "" : ", ", band, n);
    const std::string all =
        fmt::format("{} of {} can be measured by their headers, of {}{}.", seen_.measurable,
                    plural(seen_.pictures, "frame"), plural(seen_.nights.size(), "night"),
                    bands.empty() ? "" : ": " + bands);
    if (seen_.measurable > 0) {
        good("frames", all);
    } else {
        wrong("frames", {.what = all, .where = {}, .mend = "What is missing follows."});
    }
    if (seen_.calibration > 0) {
        doubt("frames", {.what = fmt::format("{} calibration frames lie among them; they are not measured.",
                                             seen_.calibration),
                         .where = {},
                         .mend = "`emberline masters build FOLDER` makes masters of them."});
    }
    tell_refused();
    for (const auto& [key, group] : seen_.doubted)
        doubt("headers", told(group));
    if (seen_.solved > seen_.with_target) {
        Problem off{.what = fmt::format("The transient lies off {} of {} by their plate solutions.",
                                        seen_.solved - seen_.with_target, plural(seen_.solved, "frame")),
                    .where = {},
                    .mend = "Leave them out, or check ra and dec in campaign.toml."};
        if (seen_.with_target == 0) {
            wrong("target", std::move(off));
        } else {
            doubt("target", std::move(off));
        }
    }
    if (!seen_.fewest_stars) return;
    const std::string stars =
        *seen_.fewest_stars == *seen_.most_stars
            ? plural(*seen_.most_stars, "comparison star")
            : fmt::format("{} to {} comparison stars", *seen_.fewest_stars, *seen_.most_stars);
    if (*seen_.fewest_stars >= few_stars) {
        good("field", fmt::format("The transient and {} lie on the frames.", stars));
    } else if (*seen_.most_stars > 0) {
        doubt("field",
              {.what = fmt::format("{} with a magnitude in the band lie on the frames.", stars),
               .where = seen_.poorest,
               .mend = "Fewer than three cannot tell which of them is wrong: add stars to the sequence."});
    }
    const std::string check = check_label(workspace_);
    if (!check.empty() && !seen_.labels_seen.contains(check) && *seen_.most_stars > 0) {
        doubt("check star", {.what = fmt::format("{} lies on none of the frames.", check),
                             .where = workspace_.sequence.source,
                             .mend = "Give the role to a star that does."});
    }
}

void CampaignChecker::site() {
    const auto& site = workspace_.campaign.site;
    if (!site || seen_.times.empty()) return;
    std::vector<night::TimedFrame> frames;
    for (const auto& [name, middle] : seen_.times)
        frames.push_back({name, middle});
    const auto found = night::site_doubt(frames, workspace_.campaign.position, *site, "campaign.toml");
    if (found) {
        wrong("site", {.what = found->what,
                       .where = workspace_.campaign.path("campaign.toml") + ", site",
                       .mend = found->mend});
        return;
    }
    double lowest = 90.0;
    for (const night::TimedFrame& frame : frames)
        lowest =
            std::min(lowest, night::sky_then(frame.middle, workspace_.campaign.position, *site).target_deg);
    good("site", fmt::format("{:.4f} {:+.4f}: it was night, and the transient {:.0f}° up or more.",
                             site->latitude.degrees(), site->longitude.degrees(), lowest));
}

void CampaignChecker::try_out() {
    for (const auto& [band, frame] : seen_.one_of_a_band)
        try_one(band, frame.path);
    if (seen_.one_of_a_band.empty() && !seen_.first_unsolved.empty()) try_unsolved();
    check_.trial_failed = seen_.tried > 0 && seen_.measured == 0;
}

void CampaignChecker::try_one(const std::string& band, const std::string& path) {
    const night::Campaign& campaign = workspace_.campaign;
    const std::string name = frame_name(path, campaign.folder);
    const auto opened = frame::open_frames(path, campaign.instruments, &masters_);
    if (!opened) return;
    const night::HostTemplates templates(workspace_.sequence, campaign);
    for (const frame::Frame& frame : *opened) {
        if (!frame.facts().band || frame.facts().band->value.name() != band || !frame.wcs()) continue;
        const auto fluxes = night::measure_frame(frame, name, "", workspace_.sequence, campaign, &templates);
        for (const auto& [refused_band, problem] : templates.refused())
            wrong("template", problem);
        ++seen_.tried;
        if (!fluxes && campaign.plate.solve && night::plate_may_mend(frame, fluxes.error())) {
            if (const auto against = mended_by(*opened, frame, workspace_.sequence, campaign)) {
                ++seen_.measured;
                doubt("trial", {.what = fmt::format(
                                    "The plate solution in its header is wrong: its own stars gave another, "
                                    "matched with {}.",
                                    *against),
                                .where = name,
                                .mend = "`emberline measure` does so by itself."});
                continue;
            }
        }
        seen_.measured += fluxes ? 1 : 0;
        if (!fluxes) {
            wrong("trial", at(fmt::format("{}, tried", band), fluxes.error()));
            continue;
        }
        if (night::plate_in_doubt(*fluxes, workspace_.sequence, campaign)) {
            doubt("trial",
                  {.what = "The stars of the sequence are not where the plate solution puts them, or "
                           "not as bright as it says.",
                   .where = name,
                   .mend = of_date_fits(frame, workspace_.sequence, campaign)
                               ? of_date_mend(frame)
                               : "Check the sequence's positions (J2000, degrees or hours with colons) and "
                                 "the plate solution: `emberline solve FRAME --even-if-solved`."});
            continue;
        }
        const photometry::StarFlux& transient = fluxes->stars.front();
        if (!transient.caveats.empty() && transient.caveats.front().has(Caveat::saturated)) {
            wrong("trial",
                  {.what =
                       fmt::format("The transient is saturated: its peak reaches {:.0f} ADU, by {}.",
                                   frame.facts().saturation_adu->value, frame.facts().saturation_adu->source),
                   .where = name,
                   .mend = "Check saturation under [instrument] and the header's, or expose for less time."});
            continue;
        }
        const double sigma = transient_sigma(*fluxes);
        if (const auto better = brighter_place(frame, workspace_.sequence, campaign, sigma)) {
            const std::string here = sigma < seen_sigma
                                         ? std::string("nothing")
                                         : fmt::format("a source {:.0f} times its noise", sigma);
            doubt("trial", {.what = fmt::format(
                                "At the transient's place is {}; at {} {}, where its coordinates lie "
                                "{}, is one {:.0f} times its noise.",
                                here, sexagesimal_hours(better->place.ra, 1),
                                sexagesimal_degrees(better->place.dec, 0), better->words, better->sigma),
                            .where = name,
                            .mend = "Were they written so? ra and dec in campaign.toml are J2000."});
            continue;
        }
        if (sigma < seen_sigma) {
            doubt("trial",
                  {.what = "Nothing is seen at the transient's place.",
                   .where = name,
                   .mend = "It may be too faint for one frame; or check ra and dec in campaign.toml."});
            continue;
        }
        good("trial",
             fmt::format("{} on {}: {} of {} comparison stars found, {:.1f}″ wide, the transient {:.0f} "
                         "times its noise.",
                         band, name, fluxes->stars_found, fluxes->stars_expected,
                         fluxes->fwhm_px * fluxes->scale_arcsec_per_px, sigma));
    }
}

void CampaignChecker::try_unsolved() {
    const auto opened = frame::open_frames(seen_.first_unsolved, workspace_.campaign.instruments, &masters_);
    if (!opened) return;
    const night::PlateFinder finder(workspace_.campaign, workspace_.sequence);
    if (finder.refused_catalogue()) wrong("plate", *finder.refused_catalogue());
    const std::string name = frame_name(seen_.first_unsolved, workspace_.campaign.folder);
    const auto found = finder.find(*opened);
    ++seen_.tried;
    seen_.measured += found ? 1 : 0;
    if (found) {
        good("trial",
             fmt::format("{} comes without a plate solution: its own stars gave one, matched with {}.", name,
                         found->against));
    } else {
        wrong("trial", found.error());
    }
}

}  // namespace emberline::tasks
