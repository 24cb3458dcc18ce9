// SPDX-License-Identifier: MIT
// tasks/set_aside — a frame, a night or a comparison star taken out of the solution with a reason, or back
// in.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "ledger/ledger.hpp"
#include "quantities/problem.hpp"
#include "tasks/measure.hpp"

namespace emberline::tasks {

struct Named {
    ledger::SetAside kind = ledger::SetAside::frame;
    std::string key;
};
// "frame", "night", "star". Problem (request): none of them.
[[nodiscard]] Result<ledger::SetAside> set_aside_kind(std::string_view word);
[[nodiscard]] std::string_view word(ledger::SetAside kind);
[[nodiscard]] std::string in_words(const Named& named);  // "Star 131b", "The night of 2024-03-14"

// What the words on the command line mean: a date is a night, a label of the sequence a star, anything else a
// frame, named as the ledger names it or by the end of its path. What is set aside already is known by its
// name, even where nothing else bears it any more. Problem: nothing or several match.
[[nodiscard]] Result<Named> find_named(const Workspace& workspace, const ledger::Ledger& ledger,
                                       const std::string& word);
// Likewise, of that kind alone.
[[nodiscard]] Result<Named> find_named(const Workspace& workspace, const ledger::Ledger& ledger,
                                       ledger::SetAside kind, const std::string& word);
// As it is set aside now. Problem: the ledger.
[[nodiscard]] Result<std::optional<ledger::Exclusion>> exclusion_of(const ledger::Ledger& ledger,
                                                                    const Named& named);

struct SetAsideOutcome {
    Named named;
    bool changed = false;  // false: it was set aside for that reason already, or was not set aside
    std::optional<ledger::Exclusion> before;  // as it was set aside until now
    Resolved resolved;                        // the campaign, solved anew
    std::string remark;                       // why it could not be solved, where nothing is measured yet
};
[[nodiscard]] Result<SetAsideOutcome> exclude(const Workspace& workspace, const std::string& word,
                                              const std::string& reason);
[[nodiscard]] Result<SetAsideOutcome> include(const Workspace& workspace, const std::string& word);
// The same with a ledger open for writing.
[[nodiscard]] Result<SetAsideOutcome> exclude(const Workspace& workspace, ledger::Ledger& ledger,
                                              const Named& named, const std::string& reason);
[[nodiscard]] Result<SetAsideOutcome> include(const Workspace& workspace, ledger::Ledger& ledger,
                                              const Named& named);
// Undoes one of the two: back to the reason `before`, from the reason `made` that the change left; absent:
// not set aside. Problem (request): it is no longer as that change left it.
[[nodiscard]] Result<SetAsideOutcome> undo_set_aside(const Workspace& workspace, ledger::Ledger& ledger,
                                                     const Named& named,
                                                     const std::optional<std::string>& made,
                                                     const std::optional<std::string>& before);

}  // namespace emberline::tasks
