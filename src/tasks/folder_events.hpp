// SPDX-License-Identifier: MIT
// tasks/folder_events — the kernel's word that something happened in a folder (inotify). It only ever hastens
// the next look: network shares give no word, and a full queue loses some. Private to this room.
#pragma once

#include <chrono>
#include <string>

namespace emberline::tasks {

class FolderEvents {
  public:
    FolderEvents();
    ~FolderEvents();
    FolderEvents(const FolderEvents&) = delete;
    FolderEvents& operator=(const FolderEvents&) = delete;
    // By any thread; again for the same folder changes nothing. May block as long as the folder does.
    void follow(const std::string& folder) const;
    // Waits for so long at most. True: something happened in one of the folders, or in too many places to
    // say. Where the kernel has no watches to give it only waits. Never blocks on the folders.
    [[nodiscard]] bool wait(std::chrono::milliseconds most) const;

  private:
    int descriptor_ = -1;
};

}  // namespace emberline::tasks
