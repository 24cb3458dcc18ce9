// SPDX-License-Identifier: MIT
// tasks/set_aside — a frame, a night or a comparison star taken out of the solution with a reason, or back
// in.
#pragma once

#include <string>

#include "ledger/ledger.hpp"
#include "quantities/problem.hpp"
#include "tasks/measure.hpp"

namespace emberline::tasks {

// What the words on the command line mean: a date is a night, a label of the sequence a star, anything else a
// frame, named as the ledger names it or by the end of its path. Problem: nothing or several match.
struct Named {
    ledger::SetAside kind = ledger::SetAside::frame;
    std::string key;
};
[[nodiscard]] Result<Named> find_named(const Workspace& workspace, const ledger::Ledger& ledger,
                                       const std::string& word);

struct SetAsideOutcome {
    Named named;
    bool changed = false;  // include: false when it was not set aside
    Resolved resolved;     // the campaign, solved anew
    std::string remark;    // why it could not be solved, where nothing is measured yet
};
[[nodiscard]] Result<SetAsideOutcome> exclude(const Workspace& workspace, const std::string& word,
                                              const std::string& reason);
[[nodiscard]] Result<SetAsideOutcome> include(const Workspace& workspace, const std::string& word);

}  // namespace emberline::tasks
