// SPDX-License-Identifier: MIT
// tasks/watching — what a watch asks of the world, so that tests can put blocking disks and failing ledgers
// in its place. Private to this room.
#pragma once

#include <functional>
#include <vector>

#include "tasks/folder_listing.hpp"
#include "tasks/offer_files.hpp"
#include "tasks/watch.hpp"

namespace emberline::tasks {

// Both run in threads of their own and may never return.
struct WatchWorld {
    std::function<Result<std::vector<FileSeen>>()> list;
    std::function<Result<Offered>(const OfferRequest&)> offer;
};

struct WatchPatience {
    double look_s = 4.0;          // between two looks into a folder where nothing seems to happen
    double silent_s = 10.0;       // a look that takes so long is told
    double retry_s = 1.0;         // a ledger that cannot be used is tried again after so long,
    double longest_retry_s = 30;  // twice as long each time, up to this
    double grace_s = 5.0;         // when stopped, frames in hand may take so long,
    double solve_s = 60.0;        // and solving with what they gave, so long
};

// `events` only hastens looks.
[[nodiscard]] Result<WatchOutcome> watch_world(const WatchWorld& world, const FolderEvents& events,
                                               const WatchRequest& request, const WatchPatience& patience,
                                               const std::function<void(const WatchEvent&)>& tell);

}  // namespace emberline::tasks
