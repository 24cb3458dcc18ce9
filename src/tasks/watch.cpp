// SPDX-License-Identifier: MIT
#include "tasks/watch.hpp"

#include <memory>

#include "tasks/watching.hpp"

namespace emberline::tasks {

Result<WatchOutcome> watch(const Workspace& workspace, const WatchRequest& request,
                           const std::function<void(const WatchEvent&)>& tell) {
    // Shared with threads that a blocking disk may hold for longer than this call lasts.
    const auto own = std::make_shared<const Workspace>(workspace);
    const auto events = std::make_shared<const FolderEvents>();
    const ListingRequest listing{request.folder, own->campaign.folder, own->campaign.path("out")};
    const WatchWorld world{
        .list = [listing, events] { return list_folder(listing, *events); },
        .offer = [own](const OfferRequest& offer) { return offer_files(*own, offer); },
    };
    try {
        return watch_world(world, *events, request, {}, tell);
    } catch (const std::exception& error) {
        return fail({.what = std::string("The watch cannot go on: ") + error.what() + ".",
                     .where = request.folder,
                     .mend = "Free some memory and start it again: what was measured is kept.",
                     .kind = ProblemKind::storage});
    }
}

}  // namespace emberline::tasks
