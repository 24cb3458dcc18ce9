// SPDX-License-Identifier: MIT
#include "tasks/nights.hpp"

#include <fmt/format.h>

#include <set>

#include "picture/night_picture.hpp"

namespace emberline::tasks {

Result<NightsOutcome> nights(const Workspace& workspace) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    auto solution = ledger->newest();
    if (!solution) return fail(solution.error());
    auto exclusions = ledger->exclusions();
    if (!exclusions) return fail(exclusions.error());
    return NightsOutcome{std::move(*solution), std::move(*exclusions)};
}

Result<NightFrames> night_frames(const Workspace& workspace, const std::optional<std::string>& wanted) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto solution = ledger->newest();
    if (!solution) return fail(solution.error());
    std::set<std::string> known;
    for (const auto& frame : solution->frames)
        known.insert(frame.night);
    if (known.empty()) {
        return fail({.what = "No night has been measured yet.",
                     .where = workspace.ledger_path(),
                     .mend = "Measure frames first: `emberline measure FRAMES`."});
    }
    NightFrames out{.night = wanted.value_or(*known.rbegin()), .judged = {}, .picture = {}};
    if (!known.contains(out.night)) {
        return fail({.what = fmt::format("No frame of the night of {} was measured.", out.night),
                     .where = workspace.ledger_path(),
                     .mend = fmt::format("The nights are those of `emberline nights`; the newest is {}.",
                                         *known.rbegin()),
                     .kind = ProblemKind::request});
    }
    std::vector<photometry::FrameFluxes> frames;
    const auto read = ledger->for_each_frame([&](const photometry::FrameFluxes& frame) {
        if (frame.night == out.night) frames.push_back(frame);
        return true;
    });
    if (!read) return fail(read.error());
    out.judged = night::judge_nights(frames, *solution);
    if (auto made = make_out_folder(workspace); !made) return fail(made.error());
    out.picture = workspace.out_path(fmt::format("night_{}.svg", out.night));
    if (auto drawn = picture::draw_night(out.judged.exposures, out.night, out.picture); !drawn)
        return fail(drawn.error());
    return out;
}

}  // namespace emberline::tasks
