// SPDX-License-Identifier: MIT
#include "tasks/folder_events.hpp"

#include <sys/inotify.h>
#include <sys/poll.h>
#include <unistd.h>

#include <array>
#include <cstring>
#include <thread>

namespace emberline::tasks {
namespace {

constexpr std::uint32_t of_interest = IN_CLOSE_WRITE | IN_MOVED_TO | IN_MOVED_FROM | IN_CREATE | IN_DELETE |
                                      IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR;

}  // namespace

FolderEvents::FolderEvents() : descriptor_(::inotify_init1(IN_NONBLOCK | IN_CLOEXEC)) {}

FolderEvents::~FolderEvents() {
    if (descriptor_ >= 0) ::close(descriptor_);
}

void FolderEvents::follow(const std::string& folder) const {
    // Refused where the system has no more watches to give: the regular look remains.
    if (descriptor_ >= 0) ::inotify_add_watch(descriptor_, folder.c_str(), of_interest);
}

bool FolderEvents::wait(std::chrono::milliseconds most) const {
    if (descriptor_ < 0) {
        std::this_thread::sleep_for(most);
        return false;
    }
    pollfd ready{descriptor_, POLLIN, 0};
    if (::poll(&ready, 1, static_cast<int>(most.count())) <= 0) return false;
    alignas(inotify_event) std::array<char, 16384> bytes{};
    bool any = false;
    for (;;) {
        const ssize_t got = ::read(descriptor_, bytes.data(), bytes.size());
        if (got <= 0) return any;
        any = true;
        for (std::size_t at = 0; at + sizeof(inotify_event) <= static_cast<std::size_t>(got);) {
            inotify_event event{};
            std::memcpy(&event, bytes.data() + at, sizeof event);
            // It goes by another name now; what takes its place is followed from the next look on.
            if ((event.mask & IN_MOVE_SELF) != 0) ::inotify_rm_watch(descriptor_, event.wd);
            at += sizeof event + event.len;
        }
    }
}

}  // namespace emberline::tasks
