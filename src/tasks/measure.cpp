// SPDX-License-Identifier: MIT
#include "tasks/measure.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "night/site_doubt.hpp"
#include "sky/time_scales.hpp"
#include "tasks/find_files.hpp"
#include "tasks/known_terms.hpp"
#include "tasks/measure_files.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;

constexpr int most_attempts = 20;  // at a solution, while other programs change the ledger

Result<std::vector<std::string>> files_to_measure(const Workspace& workspace, const MeasureRequest& request) {
    std::vector<std::string> places = request.places;
    if (places.empty()) places.push_back(workspace.campaign.path("frames"));
    std::error_code error;
    if (request.places.empty() && !std::filesystem::exists(places[0], error)) {
        return fail({.what = "There are no frames to measure.",
                     .where = places[0],
                     .mend = "Put frames there, or name them: `emberline measure FILES`.",
                     .kind = ProblemKind::request});
    }
    auto files = find_frame_files(places, workspace.campaign.path("out"));
    if (files && files->empty()) {
        return fail(no_frames_in(places));
    }
    return files;
}

Result<std::size_t> measured_otherwise(const ledger::Ledger& ledger, const std::string& settings) {
    std::size_t others = 0;
    std::vector<std::pair<std::string, int>> identities;
    const auto read = ledger.for_each_frame([&](const FrameFluxes& frame) {
        identities.emplace_back(frame.fingerprint, frame.plane);
        return true;
    });
    if (!read) return fail(read.error());
    for (const auto& [fingerprint, plane] : identities) {
        const auto same = ledger.has(fingerprint, plane, settings);
        if (!same) return fail(same.error());
        others += *same ? 0 : 1;
    }
    return others;
}

// Of so many frames at most, spread over all: what is wrong with a site is wrong on every night.
constexpr std::size_t most_frames_doubted = 2000;

std::optional<night::SiteDoubt> site_doubt_of(const night::Solution& solution,
                                              const night::Campaign& campaign) {
    std::vector<night::TimedFrame> frames;
    const std::size_t step = 1 + solution.frames.size() / most_frames_doubted;
    for (std::size_t i = 0; i < solution.frames.size(); i += step) {
        const night::FrameMeasurement& frame = solution.frames[i];
        frames.push_back({frame.frame, sky::from_jd(frame.jd_utc, TimeScale::utc)});
    }
    return night::site_doubt(frames, campaign.position, *campaign.site, "campaign.toml");
}

// Solved from one state of the ledger; not stored yet.
Result<Resolved> solved_now(const Workspace& workspace, const ledger::Ledger& ledger) {
    const auto frames = ledger.frames();
    if (!frames) return fail(frames.error());
    auto set_aside = set_aside_in(ledger);
    if (!set_aside) return fail(set_aside.error());
    const auto known = known_terms(workspace, ledger);
    if (!known) return fail(known.error());
    auto solved = night::solve_campaign(*frames, workspace.sequence, known->campaign, *set_aside);
    if (!solved) return fail(solved.error());
    solved->remarks.insert(solved->remarks.end(), known->remarks.begin(), known->remarks.end());
    return Resolved{std::move(*solved), std::move(*set_aside), false};
}

// Other programs may measure and set aside meanwhile: what is stored last must hold what all of them added.
Result<Resolved> solved_and_stored(const Workspace& workspace, ledger::Ledger& ledger) {
    for (int attempt = 1;; ++attempt) {
        const auto seen = ledger.data_version();
        if (!seen) return fail(seen.error());
        auto out = solved_now(workspace, ledger);
        if (!out) return out;
        const night::Solution& solution = out->campaign.solution;
        auto changed = ledger.store_if_still(*seen, solution, workspace.provenance());
        if (!changed) return fail(changed.error());
        if (!*changed && attempt < most_attempts) continue;
        if (!*changed) {
            const auto anyway = ledger.store(solution, workspace.provenance());
            if (!anyway) return fail(anyway.error());
            changed = *anyway;
            out->campaign.remarks.emplace_back(
                "Other programs kept changing the ledger: once they are done, `emberline measure --again` "
                "solves with all of it.");
        }
        out->changed = **changed;
        return out;
    }
}

}  // namespace

Result<Resolved> solve_from_ledger(const Workspace& workspace, ledger::Ledger& ledger) {
    auto resolved = solved_and_stored(workspace, ledger);
    if (!resolved) return resolved;
    Resolved& out = *resolved;
    const auto others = measured_otherwise(ledger, workspace.provenance().settings);
    if (!others) return fail(others.error());
    if (*others > 0) {
        out.campaign.remarks.push_back(
            fmt::format("{} frames were measured with other settings or positions: measure them again to "
                        "bring them up to date.",
                        *others));
    }
    return resolved;
}

Result<MeasureOutcome> measure(const Workspace& workspace, const MeasureRequest& request) {
    MeasureOutcome outcome;
    std::vector<std::string> files;
    if (!request.again) {
        auto found = files_to_measure(workspace, request);
        if (!found) return fail(found.error());
        files = std::move(*found);
    }
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    if (!request.again) {
        if (auto good = measure_files(workspace, request, files, *ledger, outcome); !good)
            return fail(good.error());
        if (outcome.interrupted) return outcome;
    }
    auto resolved = solve_from_ledger(workspace, *ledger);
    if (!resolved) {
        // With every frame refused there is nothing to solve, and the refusals say why.
        if (!outcome.refused.empty() && resolved.error().kind == ProblemKind::input) {
            if (outcome.fresh + outcome.known > 0) outcome.remarks.push_back(one_line(resolved.error()));
            return outcome;
        }
        return fail(resolved.error());
    }
    outcome.solution = std::move(resolved->campaign.solution);
    auto& remarks = resolved->campaign.remarks;
    outcome.remarks.insert(outcome.remarks.begin(), remarks.begin(), remarks.end());
    for (const night::HostChoice& host : resolved->campaign.host.choices) {
        outcome.template_refused = outcome.template_refused || host.template_refused;
        for (const std::string& remark : host.remarks)
            outcome.remarks.push_back(fmt::format("{}, {}: {}", host.band.name(), host.instrument, remark));
    }
    if (outcome.renamed > 0) {
        outcome.remarks.push_back(
            outcome.renamed == 1
                ? "1 file bears another name now: its fluxes are kept under it."
                : fmt::format("{} files bear other names now: their fluxes are kept under them.",
                              outcome.renamed));
    }
    outcome.changed = resolved->changed;
    for (const auto* read : {&workspace.sequence.remarks, &workspace.campaign.remarks})
        outcome.remarks.insert(outcome.remarks.begin(), read->begin(), read->end());
    const auto& touched = outcome.touched_nights;
    outcome.judged_away =
        std::any_of(outcome.solution.frames.begin(), outcome.solution.frames.end(),
                    [&](const night::FrameMeasurement& f) {
                        const bool by_observer = resolved->set_aside.frames.contains(f.frame) ||
                                                 resolved->set_aside.nights.contains(f.night);
                        return !f.used && !by_observer &&
                               std::find(touched.begin(), touched.end(), f.night) != touched.end();
                    });
    const bool no_site = std::any_of(outcome.solution.frames.begin(), outcome.solution.frames.end(),
                                     [](const auto& f) { return f.caveats.has(Caveat::no_airmass); });
    if (no_site && !workspace.campaign.site) {
        outcome.remarks.emplace_back(
            "The site is not known: nights are counted from noon to noon UTC, and there is no airmass. Add "
            "[site] to "
            "campaign.toml and measure again.");
    }
    if (workspace.campaign.site) {
        if (const auto doubt = site_doubt_of(outcome.solution, workspace.campaign))
            outcome.remarks.push_back(doubt->what + " " + doubt->mend);
    }
    if (check_label(workspace).empty()) {
        outcome.remarks.push_back(fmt::format(
            "No check star: nothing independent confirms the magnitudes. Give one star of {} the role check.",
            workspace.campaign.catalog));
    }
    return outcome;
}

}  // namespace emberline::tasks
