// SPDX-License-Identifier: MIT
#include "tasks/audit_sequence.hpp"

#include "picture/audit_picture.hpp"
#include "tasks/curves_of.hpp"
#include "tasks/known_terms.hpp"

namespace emberline::tasks {

Result<AuditOutcome> audit_sequence(const Workspace& workspace, const AuditRequest& request) {
    auto bands = bands_named(request.bands);
    if (!bands) return fail(bands.error());
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto frames = ledger->frames();
    if (!frames) return fail(frames.error());
    const auto set_aside = set_aside_in(*ledger);
    if (!set_aside) return fail(set_aside.error());
    const auto known = known_terms(workspace, *ledger);
    if (!known) return fail(known.error());
    auto audit = night::audit_sequence(*frames, workspace.sequence, known->campaign, *set_aside,
                                       {.bands = std::move(*bands), .remove_each = request.remove_each});
    if (!audit) return fail(audit.error());
    AuditOutcome outcome{workspace.campaign.name, std::move(*audit), {}};
    if (!request.picture) return outcome;
    if (auto made = make_out_folder(workspace); !made) return fail(made.error());
    outcome.picture = workspace.out_path("audit.svg");
    if (auto drawn = picture::draw_audit(outcome.audit, outcome.title, outcome.picture); !drawn)
        return fail(drawn.error());
    return outcome;
}

}  // namespace emberline::tasks
