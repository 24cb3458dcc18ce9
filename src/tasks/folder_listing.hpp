// SPDX-License-Identifier: MIT
// tasks/folder_listing — the frame files of a folder as they stand at this moment. Private to this room.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "tasks/folder_events.hpp"

namespace emberline::tasks {

// Times are those of the file system, whose clock is anybody's: good for telling that something changed, and
// for nothing else.
struct FileSeen {
    std::string path;  // as the folder was named
    std::string name;  // as tables name it
    std::int64_t bytes = 0;
    std::int64_t written_ns = 0;  // last change of its contents,
    std::int64_t changed_ns = 0;  // and of its name or owner besides
    bool operator==(const FileSeen&) const = default;
};

struct ListingRequest {
    std::string folder;
    std::string campaign_folder;  // for names
    std::string skip;             // a folder left out
};

// Regular files named as frames are, sub-folders included, hidden ones and broken links left out; by path.
// Folders on the way are followed by `events`. Opens no file. Blocks where the folder does.
// Problem (request): it is not there, or cannot be read. A sub-folder that cannot is passed over.
[[nodiscard]] Result<std::vector<FileSeen>> list_folder(const ListingRequest& request,
                                                        const FolderEvents& events);

}  // namespace emberline::tasks
