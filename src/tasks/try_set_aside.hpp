// SPDX-License-Identifier: MIT
// tasks/try_set_aside — what setting a star, a night or a frame aside, or taking it back, would change: the
// campaign solved from the ledger with and without it, side by side. Nothing is stored.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"
#include "tasks/set_aside.hpp"

namespace emberline::tasks {

enum class SetAsideAction { exclude, include };
[[nodiscard]] std::string_view word(SetAsideAction action);
// Problem (request): neither "exclude" nor "include".
[[nodiscard]] Result<SetAsideAction> set_aside_action(std::string_view word);

// Of one band and instrument. A magnitude is absent where there is none, or a limit alone.
struct TriedNight {
    std::string night;
    Band band;
    std::string instrument;
    std::optional<ValueWithError> before_mag, after_mag;  // total errors
    std::optional<double> random_err_mag;                 // before, else after
    [[nodiscard]] std::optional<double> change_mag() const;
    // The change over the random error: what another night like it would differ by anyway.
    [[nodiscard]] std::optional<double> change_sigma() const;
};

// Of weighted straight lines through the same days before and after: the last straight stretch of the curve
// as it is (as it would be, where there is none yet). mag/d, positive when it fades; errors with what the
// nights share.
struct TriedDecline {
    Band band;
    double from_bjd_tdb = 0.0, to_bjd_tdb = 0.0;
    std::optional<ValueWithError> before_mag_per_day, after_mag_per_day;
};

struct TriedSetAside {
    SetAsideAction action = SetAsideAction::exclude;
    Named named;
    std::string words;                  // one sentence or two: what it comes to
    std::vector<TriedNight> nights;     // with a magnitude before or after, by date
    std::vector<TriedDecline> decline;  // bands with three nights or more
    std::vector<std::string> remarks;
};

// Problem: no ledger, nothing to solve (input), no such thing (request).
[[nodiscard]] Result<TriedSetAside> try_set_aside(const Workspace& workspace, const ledger::Ledger& ledger,
                                                  const Named& named, SetAsideAction action);

}  // namespace emberline::tasks
