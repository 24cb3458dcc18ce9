// SPDX-License-Identifier: MIT
#include "tasks/find_files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include "quantities/text.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t most_entries = 10000;  // looked at, to say what lies where no frames are

fs::path settled(const fs::path& path) {
    std::error_code error;
    fs::path whole = fs::weakly_canonical(path, error);
    return error ? fs::absolute(path, error) : whole;
}

// A pipe would be waited for without end. What a broken link leads to is told when it is opened.
bool is_special(fs::file_type type) {
    return type == fs::file_type::fifo || type == fs::file_type::socket || type == fs::file_type::character ||
           type == fs::file_type::block;
}

// The frames of a folder and of those inside it.
class Walk {
  public:
    explicit Walk(const std::string& skip) : left_out_(skip.empty() ? fs::path() : settled(skip)) {}

    // Links may lead round in circles: a folder is entered once, by the first of its names.
    std::error_code enter(const fs::path& folder) {
        if (!entered_.insert(settled(folder)).second) return {};
        std::error_code error;
        std::vector<fs::path> folders;
        for (auto entry =
                 fs::directory_iterator(folder, fs::directory_options::skip_permission_denied, error);
             !error && entry != fs::directory_iterator(); entry.increment(error)) {
            const fs::path& path = entry->path();
            // Beside the frames on a card or a share, other systems keep notes of their own under such names.
            if (path.filename().string().starts_with('.')) continue;
            std::error_code ignored;
            const fs::file_type type = entry->status(ignored).type();
            if (type == fs::file_type::directory) {
                folders.push_back(path);
            } else if (!is_special(type) && is_frame_name(path.string())) {
                files.push_back(path);
            }
        }
        std::sort(folders.begin(), folders.end());
        for (const fs::path& sub : folders) {
            if (error) break;
            if (settled(sub) != left_out_) error = enter(sub);
        }
        return error;
    }

    std::vector<fs::path> files;

  private:
    fs::path left_out_;
    std::set<fs::path> entered_;
};

}  // namespace

bool is_frame_name(std::string_view path) {
    std::string name = lower_case(path);
    for (const std::string_view packed : {".fz", ".gz"}) {
        if (name.ends_with(packed)) name.resize(name.size() - packed.size());
    }
    return name.ends_with(".fits") || name.ends_with(".fit") || name.ends_with(".fts");
}

Result<std::vector<std::string>> find_frame_files(const std::vector<std::string>& places,
                                                  const std::string& skip) {
    std::vector<std::string> files;
    std::set<fs::path> seen;
    const auto add = [&](const fs::path& path) {
        if (seen.insert(settled(path)).second) files.push_back(path.string());
    };
    for (const std::string& place : places) {
        std::error_code error;
        if (!fs::is_directory(place, error)) {
            add(place);
            continue;
        }
        Walk walk(skip);
        error = walk.enter(place);
        if (error) {
            return fail({.what = "The folder cannot be read: " + error.message() + ".",
                         .where = place,
                         .mend = "Check its permissions, or name the frames themselves."});
        }
        std::sort(walk.files.begin(), walk.files.end());
        for (const fs::path& path : walk.files)
            add(path);
    }
    return files;
}

Problem no_frames_in(const std::vector<std::string>& places) {
    std::map<std::string, std::size_t> endings;
    std::error_code error;
    std::size_t seen = 0;
    for (const std::string& place : places) {
        auto walker =
            fs::recursive_directory_iterator(place, fs::directory_options::skip_permission_denied, error);
        for (; !error && walker != fs::recursive_directory_iterator() && seen < most_entries;
             walker.increment(error)) {
            ++seen;
            std::error_code status;
            const std::string ending = lower_case(walker->path().extension().string());
            if (walker->is_regular_file(status) && !ending.empty()) ++endings[ending];
        }
    }
    std::vector<std::pair<std::string, std::size_t>> most(endings.begin(), endings.end());
    std::stable_sort(most.begin(), most.end(),
                     [](const auto& a, const auto& b) { return a.second > b.second; });
    most.resize(std::min<std::size_t>(most.size(), 3));
    std::string there;
    for (const auto& [ending, n] : most)
        there += fmt::format("{}{} {}", there.empty() ? "" : ", ", n, ending);
    return {.what = there.empty() ? "No FITS files were found."
                                  : fmt::format("No FITS files were found; what is there: {}.", there),
            .where = places.front(),
            .mend = "Frames end in .fits, .fit or .fts, packed ones in .fz or .gz besides."};
}

std::string frame_name(const std::string& path, const std::string& campaign_folder) {
    const fs::path whole = settled(path);
    const fs::path relative = whole.lexically_relative(settled(campaign_folder));
    const bool inside = !relative.empty() && relative.begin()->string() != "..";
    return (inside ? relative : whole).generic_string();
}

}  // namespace emberline::tasks
