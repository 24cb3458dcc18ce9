// SPDX-License-Identifier: MIT
#include "tasks/transient_place.hpp"

#include <fmt/format.h>

#include <set>
#include <utility>

namespace emberline::tasks {

Result<PlacesOutcome> transient_place(const Workspace& workspace, const std::optional<std::string>& night) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto solution = ledger->newest();
    if (!solution) return fail(solution.error());
    std::set<std::pair<std::string, int>> used;
    bool night_known = false;
    for (const night::FrameMeasurement& frame : solution->frames) {
        if (night && frame.night != *night) continue;
        night_known = true;
        if (frame.used) used.emplace(frame.fingerprint, frame.plane);
    }
    if (night && !night_known) {
        return fail({.what = fmt::format("No frame of the night of {} was measured.", *night),
                     .where = workspace.ledger_path(),
                     .mend = "The nights are those of `emberline nights`.",
                     .kind = ProblemKind::request});
    }
    PlacesOutcome out;
    // What a mean place needs of a frame, without its pixels.
    std::vector<photometry::FrameFluxes> seen;
    const auto read = ledger->for_each_frame([&](const photometry::FrameFluxes& frame) {
        if (!used.contains({frame.fingerprint, frame.plane})) return true;
        ++out.frames_used;
        if (!frame.seen) {
            ++out.frames_without;
            return true;
        }
        photometry::FrameFluxes& own = seen.emplace_back();
        own.night = frame.night;
        own.seen = frame.seen;
        return true;
    });
    if (!read) return fail(read.error());
    std::vector<const photometry::FrameFluxes*> frames;
    for (const photometry::FrameFluxes& frame : seen)
        frames.push_back(&frame);
    out.nights = night::places_by_night(frames, workspace.campaign);
    out.all = night::mean_place(frames, workspace.campaign);
    return out;
}

}  // namespace emberline::tasks
