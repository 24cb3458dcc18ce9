// SPDX-License-Identifier: MIT
#include "frame/file_bytes.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "frame/header_counts.hpp"
#include "frame/prepare_cfitsio.hpp"

namespace emberline::frame {
namespace {

constexpr std::size_t piece_bytes = 1U << 18;
constexpr std::size_t most_unpacked_bytes = std::size_t{1} << 32;
constexpr std::size_t most_unpacked_per_byte = 4 * 258;  // no code of deflate stands for more, RFC 1951
// cfitsio 4.2 reads memory by whole blocks, past its end where that is within one.
constexpr std::size_t beyond_bytes = 2880;
constexpr std::string_view gzip_mark = "\x1f\x8b";
constexpr const char* damaged = "The gzipped file is cut short or damaged.";

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

std::size_t read_disk(int descriptor, long long offset, std::span<char> into) {
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

// What the last member says of its own length, where that can be.
std::size_t likely_bytes(int descriptor, long long file_bytes) {
    std::array<char, 4> last{};
    if (read_disk(descriptor, std::max(0LL, file_bytes - 4), last) < last.size()) return 0;
    std::size_t length = 0;
    for (std::size_t i = last.size(); i-- > 0;)
        length = length * 256 + static_cast<unsigned char>(last[i]);
    return length <= most_unpacked_per_byte * static_cast<std::size_t>(file_bytes) ? length : 0;
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
    start_bytes_ = read_disk(descriptor_, 0, start_);
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
    if (!inflater.ready()) return "There is not enough memory to unpack it.";
    z_stream& stream = inflater.stream();
    unpacked_.reserve(likely_bytes(descriptor_, size_));
    std::vector<char> packed(piece_bytes), piece(piece_bytes);
    stream.next_in = reinterpret_cast<Bytef*>(packed.data());
    long long offset = 0;
    bool within = true;  // a member
    for (;;) {
        if (stream.avail_in < gzip_mark.size()) {
            std::copy_n(reinterpret_cast<const char*>(stream.next_in), stream.avail_in, packed.data());
            const std::size_t got =
                read_disk(descriptor_, offset, std::span(packed).subspan(stream.avail_in));
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
        if (unpacked_.size() + made > most_unpacked_bytes)
            return "Its gzipped bytes unpack to more than 4 GiB.";
        unpacked_.insert(unpacked_.end(), piece.data(), piece.data() + made);
        within = said != Z_STREAM_END;
    }
    size_ = static_cast<long long>(unpacked_.size());
    memory_bytes_ = unpacked_.size();
    unpacked_.resize(unpacked_.size() + beyond_bytes);
    memory_ = unpacked_.data();
    return std::nullopt;
}

std::size_t FileBytes::read(long long offset, std::span<char> into) const {
    if (memory_ == nullptr) return read_disk(descriptor_, offset, into);
    if (offset < 0 || offset >= size_) return 0;
    const std::size_t n = std::min(into.size(), static_cast<std::size_t>(size_ - offset));
    std::copy_n(unpacked_.data() + offset, n, into.data());
    return n;
}

std::optional<std::string> FileBytes::impossible_count(long long offset) const {
    return frame::impossible_count(
        [this](long long from, std::span<char> block) { return read(from, block); }, offset);
}

int FileBytes::open_library(fitsfile** fits) {
    int status = 0;
    prepare_cfitsio();
    if (memory_ != nullptr) {
        // The name is for its messages alone; one with brackets would be taken for a filter.
        return fits_open_memfile(fits, "unpacked", READONLY, &memory_, &memory_bytes_, 0, nullptr, &status);
    }
    // The plain form of opening: a name with brackets is a name, not a filter.
    return fits_open_diskfile(fits, path_.c_str(), READONLY, &status);
}

}  // namespace emberline::frame
