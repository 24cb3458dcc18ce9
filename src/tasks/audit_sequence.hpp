// SPDX-License-Identifier: MIT
// tasks/audit_sequence — the comparison stars of a campaign held to account by the ledger's fluxes.
#pragma once

#include <string>
#include <vector>

#include "night/audit_sequence.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct AuditRequest {
    std::vector<std::string> bands;  // empty: all
    bool remove_each = false;        // the effect of removing every star, not of the accused ones alone
    bool picture = false;
};

struct AuditOutcome {
    std::string title;
    night::SequenceAudit audit;
    std::string picture;  // out/audit.svg, where it was drawn
};

// The ledger is read and not changed. Problem: no ledger yet or one that fails, a band that is none or was
// not measured (request), no gnuplot.
[[nodiscard]] Result<AuditOutcome> audit_sequence(const Workspace& workspace, const AuditRequest& request);

}  // namespace emberline::tasks
