// SPDX-License-Identifier: MIT
#include "quantities/new_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <utility>

namespace emberline {
inline namespace quantities {
namespace {

bool flush_to_disk(const std::string& path) {
    const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (descriptor < 0) return false;
    const bool good = ::fsync(descriptor) == 0;
    const int error = errno;
    ::close(descriptor);
    errno = error;
    return good;
}

}  // namespace

std::string name_beside(const std::string& path) {
    static std::atomic<unsigned> number{0};
    return fmt::format("{}.{}.{}.part", path, ::getpid(), ++number);
}

bool take_name(const std::string& beside, const std::string& path) {
    if (!flush_to_disk(beside) || ::rename(beside.c_str(), path.c_str()) != 0) return false;
    // Not every file system can flush a folder; the file stands in any case.
    const std::filesystem::path folder = std::filesystem::path(path).parent_path();
    (void)flush_to_disk(folder.empty() ? "." : folder.string());
    return true;
}

Problem disk_problem(const std::string& path, std::string_view doing) {
    return {.what = fmt::format("Cannot {} the file: {}.", doing, std::strerror(errno)),
            .where = path,
            .mend = "Check the disk, its free space and the permissions, then run the command again.",
            .kind = ProblemKind::storage};
}

NewFile::NewFile(std::string path, std::string beside)
    : path_(std::move(path)),
      beside_(std::move(beside)),
      stream_(std::make_unique<std::ofstream>(beside_, std::ios::binary | std::ios::trunc)) {}

NewFile::NewFile(NewFile&& other) noexcept
    : path_(std::move(other.path_)),
      beside_(std::exchange(other.beside_, {})),
      stream_(std::move(other.stream_)) {}

NewFile::~NewFile() {
    if (!beside_.empty()) ::unlink(beside_.c_str());
}

Result<NewFile> NewFile::open(const std::string& path) {
    errno = 0;
    NewFile file(path, name_beside(path));
    if (!*file.stream_) {
        const Problem problem = disk_problem(path, "write");
        file.beside_.clear();  // not ours
        return fail(problem);
    }
    return file;
}

Result<void> NewFile::commit() {
    errno = 0;
    stream_->close();
    if (!*stream_) {
        if (errno == 0) errno = EIO;  // told when it happened, and forgotten since
        return fail(disk_problem(path_, "write"));
    }
    if (!take_name(beside_, path_)) return fail(disk_problem(path_, "write"));
    beside_.clear();
    return {};
}

}  // namespace quantities
}  // namespace emberline
