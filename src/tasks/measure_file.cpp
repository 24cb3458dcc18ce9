// SPDX-License-Identifier: MIT
#include "tasks/measure_file.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "frame/write_frame.hpp"
#include "night/frame_doubts.hpp"
#include "night/measure_frame.hpp"
#include "night/plate_doubt.hpp"
#include "sky/time_scales.hpp"
#include "tasks/contained.hpp"
#include "tasks/find_files.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;

constexpr std::size_t most_reference_files = 8;  // looked into, when some have gone

std::string plane_name(const std::string& name, int plane, int planes) {
    return planes > 1 ? fmt::format("{} (plane {})", name, plane + 1) : name;
}

Result<FrameFluxes> measure_one(const frame::Frame& frame, const std::string& name,
                                const std::string& fingerprint, const FileTools& tools) {
    return night::measure_frame(frame, name, fingerprint, tools.workspace.sequence, tools.workspace.campaign,
                                &tools.templates);
}

void add(MeasuredFile& out, const frame::Frame& frame, FrameFluxes fluxes, const FileTools& tools) {
    if (frame.facts().plane == 0) {
        for (const night::FrameDoubt& doubt :
             night::frame_doubts(frame.facts(), tools.workspace.campaign, sky::now()))
            out.remarks.push_back(doubt.what + " " + doubt.mend);
    }
    if (frame.calibration().caveats().has(Caveat::not_calibrated)) {
        const auto& remarks = frame.calibration().remarks();
        out.remarks.insert(out.remarks.end(), remarks.begin(), remarks.end());
    }
    out.measured.push_back(std::move(fluxes));
}

MeasuredFile measure_all(const std::vector<frame::Frame>& frames, const std::string& name,
                         const std::string& fingerprint, const FileTools& tools) {
    MeasuredFile out;
    for (const frame::Frame& one : frames) {
        auto fluxes = measure_one(one, name, fingerprint, tools);
        if (fluxes) {
            add(out, one, std::move(*fluxes), tools);
        } else {
            out.refused.push_back({plane_name(name, one.facts().plane, one.facts().planes), fluxes.error()});
        }
    }
    return out;
}

// Why no plate solution could be made goes behind why one was wanted; a frame without any says the one alone.
void refuse_unsolved(SolvedFile& out, const UnsolvedFile& unsolved, const std::vector<frame::Frame>& frames,
                     const Problem& why) {
    const bool none = !frames.front().wcs();
    for (const RefusedFrame& refused : unsolved.refused) {
        Problem problem = refused.problem;
        if (none && problem == frames.front().wcs().error()) {
            problem = why;
        } else {
            // What both begin with is said once.
            const auto end = why.what.find(". ");
            const std::string first = end == std::string::npos ? why.what : why.what.substr(0, end + 1);
            const bool again = problem.what.starts_with(first);
            problem.what += again ? why.what.substr(first.size()) : " " + why.what;
        }
        out.file.refused.push_back({refused.frame, std::move(problem)});
    }
}

// The ledger keeps fluxes by the fingerprint of the file: they must not be those of another that came to lie
// in its place while it was read. One that is gone was read from where it was opened.
std::optional<Problem> changed_meanwhile(const std::string& path, const std::string& fingerprint) {
    const auto now = frame::fingerprint(path);
    if (!now || *now == fingerprint) return std::nullopt;
    return Problem{.what = "The file changed while it was measured.",
                   .where = path,
                   .mend = "Measure it again once nothing writes to it any more."};
}

MeasuredFile only_refused(const std::string& name, Problem problem) {
    MeasuredFile out;
    out.refused.push_back({name, std::move(problem)});
    return out;
}

}  // namespace

ledger::KeptPlate kept_plate(const std::string& fingerprint, const night::FoundPlate& found) {
    const stars::PlateSolution& solution = found.solution;
    ledger::KeptPlate plate{.fingerprint = fingerprint,
                            .cards = {},
                            .order = solution.fit.order,
                            .stars = static_cast<int>(solution.matched),
                            .rms_arcsec = solution.fit.rms_arcsec,
                            .false_probability = solution.false_probability,
                            .log_odds = solution.log_odds,
                            .against = found.against,
                            .since = {}};
    for (const frame::Card& card : solution.fit.cards)
        plate.cards += frame::card_text(card);
    return plate;
}

namespace {

MeasuredFile measured_by_header(const std::string& path, const std::string& fingerprint,
                                const FileTools& tools) {
    const night::Campaign& campaign = tools.workspace.campaign;
    const std::string name = frame_name(path, campaign.folder);
    auto frames = frame::open_frames(path, campaign.instruments, &tools.masters);
    if (!frames) return only_refused(name, frames.error());
    MeasuredFile out;
    bool sound = false, doubted = false, mendable = false;
    for (const frame::Frame& one : *frames) {
        auto fluxes = measure_one(one, name, fingerprint, tools);
        if (fluxes) {
            const bool doubt = night::plate_in_doubt(*fluxes, tools.workspace.sequence, campaign);
            sound = sound || !doubt;
            doubted = doubted || doubt;
            add(out, one, std::move(*fluxes), tools);
        } else {
            mendable = mendable || night::plate_may_mend(one, fluxes.error());
            out.refused.push_back({plane_name(name, one.facts().plane, one.facts().planes), fluxes.error()});
        }
    }
    if (campaign.plate.solve && !sound && (doubted || mendable)) {
        out.wants_plate = true;
        out.measurable = doubted;
        out.measured.clear();
        out.remarks.clear();
    }
    if (auto changed = changed_meanwhile(path, fingerprint)) return only_refused(name, std::move(*changed));
    return out;
}

SolvedFile solved_by_stars(const UnsolvedFile& unsolved, const std::optional<ledger::KeptPlate>& kept,
                           const night::PlateFinder& finder, const FileTools& tools, bool with_reference) {
    const night::Campaign& campaign = tools.workspace.campaign;
    const std::string name = frame_name(unsolved.path, campaign.folder);
    SolvedFile out;
    auto frames = frame::open_frames(unsolved.path, campaign.instruments, &tools.masters);
    if (!frames) {
        out.file.refused.push_back({name, frames.error()});
        return out;
    }
    const auto by_header = [&] {
        out.file = measure_all(*frames, name, unsolved.fingerprint, tools);
        return out;
    };
    ledger::KeptPlate plate;
    if (kept) {
        plate = *kept;
    } else {
        auto found = finder.find(*frames);
        if (!found && unsolved.measurable) return by_header();
        if (!found) {
            refuse_unsolved(out, unsolved, *frames, found.error());
            return out;
        }
        plate = kept_plate(unsolved.fingerprint, *found);
    }
    // Read from what the ledger keeps, now as later: the fluxes are the same.
    const auto wcs = frame::Wcs::parse(plate.cards);
    if (!wcs) {
        if (unsolved.measurable) return by_header();
        refuse_unsolved(out, unsolved, *frames, wcs.error());
        return out;
    }
    if (const auto header = frame::Wcs::parse(frames->front().header().raw())) {
        const frame::FrameFacts& facts = frames->front().facts();
        const auto off =
            night::plate_difference(*header, *wcs, facts.stored_width_px(), facts.stored_height_px());
        if (off && off->most_arcsec <= campaign.measure.most_shift_arcsec) {
            if (unsolved.measurable) return by_header();
        } else if (off) {
            out.header_off_arcsec = off->most_arcsec;
        }
    }
    if (!kept) out.plate = plate;
    out.solved = true;
    out.against = plate.against;
    std::vector<frame::Frame> solved;
    for (const frame::Frame& one : *frames)
        solved.push_back(one.with_plate(*wcs, {true, plate.stars, plate.rms_arcsec}));
    out.file = measure_all(solved, name, unsolved.fingerprint, tools);
    if (out.header_off_arcsec) {
        for (FrameFluxes& fluxes : out.file.measured) {
            fluxes.remarks.push_back(
                fmt::format("The plate solution in its header is wrong by up to {:.1f}′: its own stars gave "
                            "another.",
                            *out.header_off_arcsec / 60.0));
        }
    }
    if (with_reference) {
        auto reference =
            night::PlateFinder::reference_from(night::telling_frame(solved), unsolved.fingerprint, name);
        if (reference) out.reference = std::move(*reference);
    }
    return out;
}

}  // namespace

MeasuredFile measure_file(const std::string& path, const std::string& fingerprint, const FileTools& tools) {
    MeasuredFile out;
    auto thrown = contained(path, [&] { out = measured_by_header(path, fingerprint, tools); });
    if (thrown) return only_refused(frame_name(path, tools.workspace.campaign.folder), std::move(*thrown));
    return out;
}

SolvedFile solve_and_measure(const UnsolvedFile& unsolved, const std::optional<ledger::KeptPlate>& kept,
                             const night::PlateFinder& finder, const FileTools& tools, bool with_reference) {
    SolvedFile out;
    auto wrong = contained(unsolved.path,
                           [&] { out = solved_by_stars(unsolved, kept, finder, tools, with_reference); });
    if (!wrong) wrong = changed_meanwhile(unsolved.path, unsolved.fingerprint);
    if (!wrong) return out;
    return {.file =
                only_refused(frame_name(unsolved.path, tools.workspace.campaign.folder), std::move(*wrong))};
}

Result<std::optional<night::FieldReference>> reference_of_ledger(const ledger::Ledger& ledger,
                                                                 const FileTools& tools) {
    const night::Campaign& campaign = tools.workspace.campaign;
    struct Candidate {
        std::string frame, fingerprint;
    };
    std::vector<Candidate> candidates;
    const auto read = ledger.for_each_frame([&](const FrameFluxes& fluxes) {
        const bool good = fluxes.plate == "header" && fluxes.stack_of.empty() &&
                          night::plate_is_good(fluxes, tools.workspace.sequence, campaign);
        if (good && (candidates.empty() || candidates.back().fingerprint != fluxes.fingerprint))
            candidates.push_back({fluxes.frame, fluxes.fingerprint});
        return candidates.size() < most_reference_files;
    });
    if (!read) return fail(read.error());
    for (const Candidate& candidate : candidates) {
        const std::string path = campaign.path(candidate.frame);
        const auto print = frame::fingerprint(path);
        if (!print || *print != candidate.fingerprint) continue;
        const auto frames = frame::open_frames(path, campaign.instruments, &tools.masters);
        if (!frames) continue;
        auto reference = night::PlateFinder::reference_from(night::telling_frame(*frames),
                                                            candidate.fingerprint, candidate.frame);
        if (reference) return std::move(*reference);
    }
    return std::nullopt;
}

}  // namespace emberline::tasks
