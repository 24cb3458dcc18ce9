// SPDX-License-Identifier: MIT
// tasks/temporary_folder — a folder of one's own for a file that is made and handed over; gone with its
// owner. Private to this room.
#pragma once

#include <filesystem>
#include <string>

#include "quantities/problem.hpp"

namespace emberline::tasks {

class TemporaryFolder {
  public:
    // Problem (storage): the system's folder for temporary files takes none.
    [[nodiscard]] static Result<TemporaryFolder> make();
    TemporaryFolder(TemporaryFolder&& other) noexcept : path_(std::move(other.path_)) { other.path_.clear(); }
    TemporaryFolder& operator=(TemporaryFolder&&) = delete;
    ~TemporaryFolder();
    [[nodiscard]] std::string path(const std::string& file) const { return (path_ / file).string(); }

  private:
    explicit TemporaryFolder(std::filesystem::path path) : path_(std::move(path)) {}
    std::filesystem::path path_;
};

}  // namespace emberline::tasks
