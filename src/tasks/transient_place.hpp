// SPDX-License-Identifier: MIT
// tasks/transient_place — the transient's position on the sky, of each night and of the campaign, from what
// the ledger's frames saw.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "night/mean_place.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct PlacesOutcome {
    std::map<std::string, night::TransientPlace> nights;  // by date
    std::optional<night::TransientPlace> all;             // of these nights together; absent without any
    int frames_used = 0;                                  // by the newest solution, in these nights
    // Of those, the ones that tell no place: too faint there, on the nucleus, or measured before places were
    // kept (a frame that has not changed is not measured again).
    int frames_without = 0;
};

// `night`: YYYY-MM-DD; absent: all. Frames that the newest solution refused do not count.
// Problem: no ledger, or one that fails; no frame of that night was measured (kind request).
[[nodiscard]] Result<PlacesOutcome> transient_place(const Workspace& workspace,
                                                    const std::optional<std::string>& night = std::nullopt);

}  // namespace emberline::tasks
