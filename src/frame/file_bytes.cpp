// SPDX-License-Identifier: MIT
#include "frame/file_bytes.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>
#include <vector>

#include "frame/file_marks.hpp"
#include "frame/header_counts.hpp"
#include "frame/prepare_cfitsio.hpp"

namespace emberline::frame {
namespace {

constexpr std::size_t piece_bytes = 1U << 18;
constexpr long long most_unpacked_bytes = 1LL << 32;
constexpr const char* damaged = "The gzipped file is cut short or damaged.";

struct Closing {
    int descriptor;
    ~Closing() { ::close(descriptor); }
};

class Inflater {
  public:
    Inflater() { ready_ = inflateInit2(&stream_, MAX_WBITS + 16) == Z_OK; }  // 16: gzip, not zlib
    Inflater(const Inflater&) = delete;
    Inflater& operator=(const Inflater&) = delete;
    ~Inflater() { inflateEnd(&stream_); }
    [[nodiscard]] bool ready() const { return ready_; }
    [[nodiscard]] z_stream& stream() { return stream_; }

  private:
    z_stream stream_{};
    bool ready_ = false;
};

std::size_t read_from(int descriptor, long long offset, std::span<char> into) {
    std::size_t got = 0;
    while (got < into.size()) {
        const ssize_t n = ::pread(descriptor, into.data() + got, into.size() - got,
                                  static_cast<off_t>(offset) + static_cast<off_t>(got));
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) break;
        got += static_cast<std::size_t>(n);
    }
    return got;
}

std::string not_unpacked() {
    return fmt::format("It cannot be unpacked into memory: {}.", std::strerror(errno));
}

bool write_whole(int descriptor, std::span<const char> bytes) {
    while (!bytes.empty()) {
        const ssize_t n = ::write(descriptor, bytes.data(), bytes.size());
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) return false;
        bytes = bytes.subspan(static_cast<std::size_t>(n));
    }
    return true;
}

}  // namespace

FileBytes::~FileBytes() {
    if (descriptor_ >= 0) ::close(descriptor_);
}

std::optional<std::string> FileBytes::open(const std::string& path) {
    path_ = path;
    descriptor_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    struct stat about = {};
    if (descriptor_ < 0 || ::fstat(descriptor_, &about) != 0) return std::strerror(errno);
    size_ = about.st_size;
    start_bytes_ = read_from(descriptor_, 0, start_);
    return std::nullopt;
}

std::string_view FileBytes::start() const {
    return {start_.data(), start_bytes_};
}

bool FileBytes::gzipped() const {
    return start().starts_with(gzip_mark);
}

std::optional<std::string> FileBytes::unpack() {
    Inflater inflater;
    // A file and not a buffer: cfitsio 4.2 reads past the end of memory that it is given.
    const int packed_file = std::exchange(descriptor_, ::memfd_create("unpacked", MFD_CLOEXEC));
    const Closing closing{packed_file};
    if (!inflater.ready()) return "There is not enough memory to unpack it.";
    if (descriptor_ < 0) return not_unpacked();
    path_ = fmt::format("/proc/self/fd/{}", descriptor_);
    size_ = 0;
    z_stream& stream = inflater.stream();
    std::vector<char> packed(piece_bytes), piece(piece_bytes);
    stream.next_in = reinterpret_cast<Bytef*>(packed.data());
    long long offset = 0;
    bool within = true;  // a member
    for (;;) {
        if (stream.avail_in < gzip_mark.size()) {
            std::copy_n(reinterpret_cast<const char*>(stream.next_in), stream.avail_in, packed.data());
            const std::size_t got =
                read_from(packed_file, offset, std::span(packed).subspan(stream.avail_in));
            offset += static_cast<long long>(got);
            stream.next_in = reinterpret_cast<Bytef*>(packed.data());
            stream.avail_in += static_cast<uInt>(got);
        }
        if (!within) {
            // What follows that is no further member is left, as zeros up to a full block are.
            const std::string_view next(reinterpret_cast<const char*>(stream.next_in), stream.avail_in);
            if (!next.starts_with(gzip_mark)) break;
            if (inflateReset(&stream) != Z_OK) return damaged;
            within = true;
        }
        stream.next_out = reinterpret_cast<Bytef*>(piece.data());
        stream.avail_out = static_cast<uInt>(piece.size());
        const int said = inflate(&stream, Z_NO_FLUSH);
        if (said != Z_OK && said != Z_STREAM_END) return damaged;
        const std::size_t made = piece.size() - stream.avail_out;
        size_ += static_cast<long long>(made);
        if (size_ > most_unpacked_bytes) return "Its gzipped bytes unpack to more than 4 GiB.";
        if (!write_whole(descriptor_, std::span(piece).first(made))) return not_unpacked();
        within = said != Z_STREAM_END;
    }
    start_bytes_ = read_from(descriptor_, 0, start_);
    return std::nullopt;
}

std::size_t FileBytes::read(long long offset, std::span<char> into) const {
    return offset < 0 ? 0 : read_from(descriptor_, offset, into);
}

std::optional<std::string> FileBytes::impossible_count(long long offset) const {
    return frame::impossible_count(
        [this](long long from, std::span<char> block) { return read(from, block); }, offset);
}

int FileBytes::open_library(fitsfile** fits) {
    int status = 0;
    prepare_cfitsio();
    // The plain form of opening: a name with brackets is a name, not a filter.
    return fits_open_diskfile(fits, path_.c_str(), READONLY, &status);
}

}  // namespace emberline::frame
