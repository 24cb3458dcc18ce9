// SPDX-License-Identifier: MIT
#include "tasks/nights.hpp"

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

}  // namespace emberline::tasks
