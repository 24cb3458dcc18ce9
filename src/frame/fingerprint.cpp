// SPDX-License-Identifier: MIT
// A digest for telling files apart, not for security: two 64-bit lanes of multiply and rotate.
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <bit>
#include <cerrno>
#include <cstring>
#include <vector>

#include "frame/frame.hpp"

namespace emberline::frame {
namespace {

constexpr long long whole_bytes = 256LL << 10;  // files up to here are read whole
constexpr long long header_bytes = 64LL << 10;  // longer ones: their beginning,
constexpr long long sample_bytes = 4LL << 10;   // and samples
constexpr long long samples = 24;               // evenly spread, the last at the end

class Digest {
  public:
    void add(const unsigned char* bytes, std::size_t n) {
        std::size_t i = 0;
        for (; i + 8 <= n; i += 8) {
            std::uint64_t word = 0;
            std::memcpy(&word, bytes + i, 8);
            mix(word);
        }
        std::uint64_t rest = n;
        for (; i < n; ++i)
            rest = (rest << 8U) | bytes[i];
        mix(rest);
    }
    void add(std::uint64_t word) { mix(word); }
    [[nodiscard]] std::string text() const {
        return fmt::format("{:016x}{:016x}", finish(a_ + b_), finish(b_ ^ (a_ >> 7U)));
    }

  private:
    void mix(std::uint64_t word) {
        a_ = std::rotl(a_ ^ word, 27) * 0x9e3779b97f4a7c15ULL + 0x2545f4914f6cdd1dULL;
        b_ = std::rotl(b_ + std::rotl(word, 31), 33) * 0xd6e8feb86659fd93ULL ^ a_;
    }
    static std::uint64_t finish(std::uint64_t x) {
        x = (x ^ (x >> 32U)) * 0xd6e8feb86659fd93ULL;
        x = (x ^ (x >> 32U)) * 0xd6e8feb86659fd93ULL;
        return x ^ (x >> 32U);
    }
    std::uint64_t a_ = 0x243f6a8885a308d3ULL, b_ = 0x13198a2e03707344ULL;
};

struct Descriptor {
    int value = -1;
    ~Descriptor() {
        if (value >= 0) ::close(value);
    }
};

}  // namespace

Result<std::string> fingerprint(const std::string& path) {
    const auto refuse = [&](std::string what) {
        return fail({.what = std::move(what), .where = path, .mend = "Check its name and permissions."});
    };
    // Without O_NONBLOCK a pipe would keep us waiting for its other end.
    const Descriptor file{::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)};
    struct stat about = {};
    if (file.value < 0 || ::fstat(file.value, &about) != 0) {
        return refuse(fmt::format("The file cannot be opened: {}.", std::strerror(errno)));
    }
    if (!S_ISREG(about.st_mode)) return refuse("This is not a file.");
    Digest digest;
    digest.add(static_cast<std::uint64_t>(about.st_size));
    std::vector<unsigned char> buffer;
    const auto take = [&](long long offset, long long length) {
        buffer.resize(static_cast<std::size_t>(length));
        // A network disk may hand out less at a time than was asked for.
        std::size_t have = 0;
        while (have < buffer.size()) {
            const ssize_t got = ::pread(file.value, buffer.data() + have, buffer.size() - have,
                                        offset + static_cast<long long>(have));
            if (got < 0 && errno == EINTR) continue;
            if (got < 0) return false;
            if (got == 0) break;
            have += static_cast<std::size_t>(got);
        }
        digest.add(buffer.data(), have);
        return true;
    };
    bool good = true;
    if (about.st_size <= whole_bytes) {
        good = take(0, about.st_size);
    } else {
        good = take(0, header_bytes);
        const long long room = about.st_size - header_bytes - sample_bytes;
        for (long long k = 1; k <= samples && good; ++k)
            good = take(header_bytes + room * k / samples, sample_bytes);
    }
    if (!good) return refuse(fmt::format("The file cannot be read: {}.", std::strerror(errno)));
    return digest.text();
}

}  // namespace emberline::frame
