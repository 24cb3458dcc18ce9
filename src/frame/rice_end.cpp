// SPDX-License-Identifier: MIT
#include "frame/rice_end.hpp"

#include <algorithm>
#include <bit>
#include <cstdint>
#include <optional>

namespace emberline::frame {
namespace {

// Most significant bit first.
class Bits {
  public:
    explicit Bits(std::span<const unsigned char> bytes) : bytes_(bytes), end_(8 * bytes.size()) {}
    [[nodiscard]] bool skip(std::size_t n) {
        if (n > end_ - at_) return false;
        at_ += n;
        return true;
    }
    std::optional<unsigned> take(unsigned n) {
        const std::uint64_t next = ahead();
        if (!skip(n)) return std::nullopt;
        return static_cast<unsigned>(next >> (64U - n));
    }
    // Zeros, and the one that ends them.
    [[nodiscard]] bool skip_unary() {
        for (;;) {
            const std::uint64_t next = ahead();
            if (next != 0) return skip(static_cast<std::size_t>(std::countl_zero(next)) + 1);
            if (!skip(sure_)) return false;
        }
    }

  private:
    static constexpr std::size_t sure_ = 57;  // of 64 bits, wherever in its byte the first stands
    // The next bits from the left; zeros stand beyond the end.
    [[nodiscard]] std::uint64_t ahead() const {
        const std::size_t first = at_ / 8;
        std::uint64_t out = 0;
        for (std::size_t i = 0; i < 8; ++i)
            out = out << 8U | (first + i < bytes_.size() ? bytes_[first + i] : 0U);
        return out << (at_ % 8);
    }

    std::span<const unsigned char> bytes_;
    std::size_t end_, at_ = 0;
};

struct Coding {
    unsigned head_bits;  // say how a block is coded
    unsigned as_they_are;
};
constexpr Coding coding_of(std::size_t bytes_per_pixel) {
    if (bytes_per_pixel == 1) return {3, 6};
    if (bytes_per_pixel == 2) return {4, 14};
    return {5, 25};
}

}  // namespace

bool rice_ends(std::span<const unsigned char> bytes, std::size_t pixels, const RiceBlocks& blocks) {
    const Coding coding = coding_of(blocks.bytes_per_pixel);
    const std::size_t pixel_bits = 8 * (blocks.bytes_per_pixel <= 2 ? blocks.bytes_per_pixel : 4);
    Bits bits(bytes);
    if (!bits.skip(pixel_bits)) return false;  // the first pixel
    for (std::size_t done = 0; done < pixels; done += blocks.pixels) {
        const std::size_t n = std::min(blocks.pixels, pixels - done);
        const auto head = bits.take(coding.head_bits);
        if (!head) return false;
        if (*head == 0) continue;  // all alike
        const unsigned low_bits = *head - 1;
        if (low_bits == coding.as_they_are) {
            if (!bits.skip(n * pixel_bits)) return false;
            continue;
        }
        for (std::size_t i = 0; i < n; ++i) {
            if (!bits.skip_unary() || !bits.skip(low_bits)) return false;
        }
    }
    return true;
}

}  // namespace emberline::frame
