// SPDX-License-Identifier: MIT
#include "frame/solved_copy.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>
#include <utility>

#include "frame/file_bytes.hpp"
#include "frame/fits_image.hpp"
#include "frame/replace_plate.hpp"
#include "quantities/new_file.hpp"

// The library's gzip; the header forgets that it is C.
extern "C" {
#include <fitsio2.h>
}

namespace emberline::frame {
namespace {

namespace fs = std::filesystem;

constexpr long long copy_bytes = 1LL << 20;

Problem unreadable(const std::string& path, std::string what) {
    return {.what = std::move(what),
            .where = path,
            .mend = "Save the frame again from its source, or leave it out."};
}

// The bytes of a FITS file, unpacked where it is gzipped as a whole.
class Source {
  public:
    static Result<std::unique_ptr<Source>> open(const std::string& path) {
        // What is no frame is turned away there.
        const auto image = FitsImage::open(path);
        if (!image) return fail(image.error());
        std::unique_ptr<Source> source(new Source());
        source->path_ = path;
        source->header_ = (*image)->header_offset();
        source->data_ = (*image)->data_offset();
        if (const auto wrong = source->file_.open(path))
            return fail(unreadable(path, fmt::format("The file cannot be opened: {}.", *wrong)));
        if (source->file_.gzipped()) {
            if (const auto wrong = source->file_.unpack()) return fail(unreadable(path, *wrong));
        }
        return source;
    }
    Source(const Source&) = delete;
    Source& operator=(const Source&) = delete;
    ~Source() = default;

    [[nodiscard]] long long header() const { return header_; }
    [[nodiscard]] long long data() const { return data_; }
    [[nodiscard]] long long bytes() const { return file_.size(); }
    [[nodiscard]] Result<void> read(long long offset, long long n, std::string& into) const {
        into.resize(static_cast<std::size_t>(n));
        if (file_.read(offset, into) == into.size()) return {};
        return fail(unreadable(path_, "The file ended while it was read for a copy."));
    }

  private:
    Source() = default;
    std::string path_;
    FileBytes file_;
    long long header_ = 0, data_ = 0;
};

// A file that has its name only once it is whole.
class Target {
  public:
    explicit Target(const std::string& path)
        : path_(path), beside_(name_beside(path)), packed_(path.ends_with(".gz")) {}
    Target(const Target&) = delete;
    Target& operator=(const Target&) = delete;
    ~Target() {
        if (file_ == nullptr) return;
        (void)std::fclose(file_);
        std::error_code ignored;
        fs::remove(beside_, ignored);
    }

    [[nodiscard]] Result<void> create() {
        file_ = std::fopen(beside_.c_str(), "wxe");
        if (file_ == nullptr) return fail(problem(std::strerror(errno)));
        return {};
    }

    [[nodiscard]] Result<void> write(const std::string& bytes) {
        if (packed_) {
            whole_ += bytes;
        } else if (std::fwrite(bytes.data(), 1, bytes.size(), file_) != bytes.size()) {
            return fail(problem(std::strerror(errno)));
        }
        return {};
    }

    [[nodiscard]] Result<void> finish() {
        if (packed_) {
            int status = 0;
            std::size_t size = 0;
            compress2file_from_mem(whole_.data(), whole_.size(), file_, &size, &status);
            if (status != 0) return fail(problem("it cannot be packed"));
        }
        if (std::fflush(file_) != 0 || ::fsync(::fileno(file_)) != 0)
            return fail(problem(std::strerror(errno)));
        // Never over what came there meanwhile; a disk that knows no such renaming was looked at before.
        const bool named =
            ::renameat2(AT_FDCWD, beside_.c_str(), AT_FDCWD, path_.c_str(), RENAME_NOREPLACE) == 0 ||
            (errno == EINVAL && ::rename(beside_.c_str(), path_.c_str()) == 0);
        if (!named) return fail(problem(std::strerror(errno)));
        (void)std::fclose(std::exchange(file_, nullptr));
        return {};
    }

  private:
    [[nodiscard]] Problem problem(const std::string& why) const {
        return {.what = fmt::format("The copy cannot be written: {}.", why),
                .where = path_,
                .mend = "Check the free space and the permissions there.",
                .kind = ProblemKind::storage};
    }

    std::string path_, beside_;
    bool packed_;
    std::string whole_;  // where it is to be packed
    std::FILE* file_ = nullptr;
};

Result<void> check_free(const std::string& from, const std::string& to) {
    std::error_code error;
    if (fs::equivalent(from, to, error)) {
        return fail({.what = "The copy would be the frame itself, which is never written to.",
                     .where = to,
                     .mend = "Name another folder for the copies.",
                     .kind = ProblemKind::request});
    }
    struct stat about = {};
    if (::lstat(to.c_str(), &about) != 0) return {};
    return fail({.what = "There is a file of that name already.",
                 .where = to,
                 .mend = "Remove it, or name another folder for the copies.",
                 .kind = ProblemKind::request});
}

}  // namespace

Result<void> write_solved_copy(const std::string& from, const std::string& to, const std::vector<Card>& cards,
                               const std::vector<std::string>& history) try {
    if (auto good = check_free(from, to); !good) return good;
    const auto opened = Source::open(from);
    if (!opened) return fail(opened.error());
    const Source& source = **opened;
    Target target(to);
    if (auto good = target.create(); !good) return good;
    std::string bytes;
    const auto pass = [&](long long first, long long end) -> Result<void> {
        for (long long at = first; at < end; at += copy_bytes) {
            if (auto good = source.read(at, std::min(copy_bytes, end - at), bytes); !good) return good;
            if (auto good = target.write(bytes); !good) return good;
        }
        return {};
    };
    if (auto good = pass(0, source.header()); !good) return good;
    if (auto good = source.read(source.header(), source.data() - source.header(), bytes); !good) return good;
    if (auto good = target.write(with_another_plate(bytes, cards, history)); !good) return good;
    if (auto good = pass(source.data(), source.bytes()); !good) return good;
    return target.finish();
} catch (const std::bad_alloc&) {
    return fail({.what = "There is not enough memory to copy this.",
                 .where = from,
                 .mend = "Close other programs, or free memory.",
                 .kind = ProblemKind::storage});
}

}  // namespace emberline::frame
