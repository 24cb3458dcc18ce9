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
    // So many codes: zeros, the one that ends them, and `more` bits each. All that a word holds are passed
    // before the next is loaded.
    [[nodiscard]] bool skip_codes(std::size_t codes, std::size_t more) {
        while (codes > 0) {
            std::uint64_t next = ahead();
            std::size_t passed = 0;
            for (; codes > 0 && next != 0; --codes) {
                const std::size_t length = static_cast<std::size_t>(std::countl_zero(next)) + 1 + more;
                if (passed + length > sure) break;
                next <<= length;
                passed += length;
            }
            if (passed == 0) {
                if (!skip_long_code(more)) return false;
                --codes;
            } else if (!skip(passed)) {
                return false;
            }
        }
        return true;
    }

  private:
    static constexpr std::size_t word = 8;   // bytes
    static constexpr std::size_t sure = 57;  // bits of a word, wherever in its byte the first stands
    [[nodiscard]] bool skip_long_code(std::size_t more) {
        for (;;) {
            const std::uint64_t next = ahead();
            if (next != 0) return skip(static_cast<std::size_t>(std::countl_zero(next)) + 1 + more);
            if (!skip(sure)) return false;
        }
    }
    // The next bits from the left; zeros stand beyond the end.
    [[nodiscard]] std::uint64_t ahead() const {
        const std::size_t first = at_ / 8;
        std::uint64_t out = 0;
        if (first + word <= bytes_.size()) {
            const unsigned char* b = bytes_.data() + first;  // one load, as compilers know
            for (std::size_t i = 0; i < word; ++i)
                out |= std::uint64_t{b[i]} << (8 * (word - 1 - i));
        } else {
            for (std::size_t i = 0; i < word; ++i)
                out = out << 8U | (first + i < bytes_.size() ? bytes_[first + i] : 0U);
        }
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
        if (!bits.skip_codes(n, low_bits)) return false;
    }
    return true;
}

}  // namespace emberline::frame
