// SPDX-License-Identifier: MIT
#include "tasks/nights.hpp"

#include <fmt/format.h>

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

Result<NightFrames> night_frames(const Workspace& workspace, const std::optional<std::string>& wanted,
                                 std::optional<double> goal_mag) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto kept = read_one_night(*ledger, workspace, wanted);
    if (!kept) return fail(kept.error());
    NightFrames out{.night = kept->night,
                    .judged = night::judge_nights(kept->frames, kept->solution),
                    .picture = {},
                    .goal_mag = goal_mag,
                    .ways = {}};
    if (goal_mag) out.ways = ways_to_goal(kept->solution, kept->night, *goal_mag);
    if (auto made = make_out_folder(workspace); !made) return fail(made.error());
    out.picture = workspace.out_path(fmt::format("night_{}.svg", out.night));
    if (auto drawn = picture::draw_night(out.judged.exposures, out.night, out.picture); !drawn)
        return fail(drawn.error());
    return out;
}

}  // namespace emberline::tasks
