// SPDX-License-Identifier: MIT
#include "tasks/folder_listing.hpp"

#include <sys/stat.h>

#include <algorithm>
#include <filesystem>
#include <set>

#include "tasks/find_files.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;

std::int64_t nanoseconds(const timespec& time) {
    return static_cast<std::int64_t>(time.tv_sec) * 1'000'000'000 + time.tv_nsec;
}

class Walk {
  public:
    Walk(const ListingRequest& request, const FolderEvents& events) : events_(events) {
        prefix_ = frame_name(request.folder, request.campaign_folder);
        prefix_ = prefix_ == "." ? "" : prefix_ + "/";
        top_ = fs::path(request.folder);
        struct stat about = {};
        if (!request.skip.empty() && ::stat(request.skip.c_str(), &about) == 0)
            seen_.insert({about.st_dev, about.st_ino});
    }

    // Folders in which links lead round in circles are entered once.
    std::error_code enter(const fs::path& folder) {
        struct stat about = {};
        if (::stat(folder.c_str(), &about) != 0) return {errno, std::generic_category()};
        if (!seen_.insert({about.st_dev, about.st_ino}).second) return {};
        // Followed before it is read: what lands in between is told of.
        events_.follow(folder.string());
        std::error_code error;
        std::vector<fs::path> inside;
        for (auto entry = fs::directory_iterator(folder, error); !error && entry != fs::directory_iterator();
             entry.increment(error)) {
            take(entry->path(), inside);
        }
        if (error) return error;
        for (const fs::path& sub : inside)
            (void)enter(sub);
        return {};
    }

    std::vector<FileSeen> files;

  private:
    void take(const fs::path& path, std::vector<fs::path>& folders) {
        struct stat about = {};
        if (path.filename().string().starts_with('.') || ::stat(path.c_str(), &about) != 0) return;
        if (S_ISDIR(about.st_mode)) folders.push_back(path);
        if (!S_ISREG(about.st_mode) || !is_frame_name(path.string())) return;
        files.push_back({path.string(), prefix_ + path.lexically_relative(top_).generic_string(),
                         std::int64_t{about.st_size}, nanoseconds(about.st_mtim),
                         nanoseconds(about.st_ctim)});
    }

    const FolderEvents& events_;
    std::string prefix_;
    fs::path top_;
    std::set<std::pair<dev_t, ino_t>> seen_;
};

}  // namespace

Result<std::vector<FileSeen>> list_folder(const ListingRequest& request, const FolderEvents& events) {
    Walk walk(request, events);
    if (const std::error_code error = walk.enter(request.folder)) {
        return fail({.what = "The folder cannot be read: " + error.message() + ".",
                     .where = request.folder,
                     .mend = "Check its name and permissions, and that its disk is mounted.",
                     .kind = ProblemKind::request});
    }
    std::sort(walk.files.begin(), walk.files.end(),
              [](const FileSeen& a, const FileSeen& b) { return a.path < b.path; });
    return std::move(walk.files);
}

}  // namespace emberline::tasks
