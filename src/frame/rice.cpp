// SPDX-License-Identifier: MIT
#include "frame/rice.hpp"

#include <algorithm>
#include <bit>
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
    // 32 bits at most.
    std::optional<unsigned> take(unsigned n) {
        const std::uint64_t next = ahead();
        if (!skip(n)) return std::nullopt;
        return static_cast<unsigned>(next >> 1U >> (63U - n));
    }
    // So many codes: zeros, the one that ends them, and `more` bits each; calls each(zeros, those bits). All
    // that a word holds are passed before the next is loaded.
    template <class Each>
    [[nodiscard]] bool codes(std::size_t n, unsigned more, const Each& each) {
        while (n > 0) {
            std::uint64_t next = ahead();
            unsigned passed = 0;
            for (; n > 0 && next != 0; --n) {
                const auto zeros = static_cast<unsigned>(std::countl_zero(next));
                const unsigned length = zeros + 1 + more;
                if (passed + length > sure) break;
                next = next << zeros << 1U;
                each(zeros, static_cast<unsigned>(next >> 1U >> (63U - more)));
                next <<= more;
                passed += length;
            }
            if (passed == 0) {
                if (!long_code(more, each)) return false;
                --n;
            } else if (!skip(passed)) {
                return false;
            }
        }
        return true;
    }

  private:
    static constexpr std::size_t word = 8;  // bytes
    static constexpr unsigned sure = 57;    // bits of a word, wherever in its byte the first stands
    template <class Each>
    [[nodiscard]] bool long_code(unsigned more, const Each& each) {
        unsigned zeros = 0;
        for (;;) {
            const std::uint64_t next = ahead();
            const auto here = std::min(static_cast<unsigned>(std::countl_zero(next)), sure);
            zeros += here;
            if (!skip(here)) return false;
            if (here < sure) break;
        }
        if (!skip(1)) return false;
        const auto low = take(more);
        if (!low) return false;
        each(zeros, *low);
        return true;
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

// The stream's own measures.
struct Coding {
    unsigned pixel_bits;
    unsigned head_bits;  // say how a block is coded
    unsigned as_they_are;
};
constexpr Coding coding_of(const RiceBlocks& blocks) {
    if (blocks.bytes_per_pixel == 1) return {8, 3, 6};
    if (blocks.bytes_per_pixel == 2) return {16, 4, 14};
    return {32, 5, 25};
}

// Calls each(zeros, low, low_bits) for the difference of each pixel from the one before, up to the wanted-th
// of so many; one that stands as it is has no zeros.
template <class Each>
bool walk(Bits& bits, std::size_t pixels, std::size_t wanted, const RiceBlocks& blocks, const Each& each) {
    const Coding coding = coding_of(blocks);
    for (std::size_t done = 0; done < wanted; done += blocks.pixels) {
        const std::size_t n = std::min({blocks.pixels, pixels - done, wanted - done});
        const auto head = bits.take(coding.head_bits);
        if (!head) return false;
        if (*head == 0) {  // all alike
            for (std::size_t i = 0; i < n; ++i)
                each(0U, 0U, 0U);
        } else if (const unsigned low_bits = *head - 1; low_bits == coding.as_they_are) {
            for (std::size_t i = 0; i < n; ++i) {
                const auto difference = bits.take(coding.pixel_bits);
                if (!difference) return false;
                each(0U, *difference, 0U);
            }
        } else if (!bits.codes(n, low_bits,
                               [&](unsigned zeros, unsigned low) { each(zeros, low, low_bits); })) {
            return false;
        }
    }
    return true;
}

}  // namespace

bool rice_ends(std::span<const unsigned char> bytes, std::size_t pixels, const RiceBlocks& blocks) {
    Bits bits(bytes);
    return bits.skip(coding_of(blocks).pixel_bits) &&
           walk(bits, pixels, pixels, blocks, [](unsigned, unsigned, unsigned) {});
}

bool unpack_rice(std::span<const unsigned char> bytes, std::size_t pixels, const RiceBlocks& blocks,
                 std::span<std::int32_t> first) {
    Bits bits(bytes);
    const auto start = bits.take(coding_of(blocks).pixel_bits);
    if (!start) return false;
    // Differences are folded: 0, -1, 1, -2 … are 0, 1, 2, 3. What runs over the pixel's bits comes round
    // again.
    const auto unpack = [&](const auto& stored) {
        std::uint32_t pixel = *start;
        std::int32_t* out = first.data();
        return walk(bits, pixels, first.size(), blocks, [&](unsigned zeros, unsigned low, unsigned low_bits) {
            const std::uint32_t folded = zeros << low_bits | low;
            pixel += folded >> 1U ^ (0U - (folded & 1U));
            *out++ = stored(pixel);
        });
    };
    if (blocks.bytes_per_pixel == 1)
        return unpack([](std::uint32_t v) { return std::int32_t{static_cast<std::uint8_t>(v)}; });
    if (blocks.bytes_per_pixel == 2)
        return unpack([](std::uint32_t v) { return std::int32_t{static_cast<std::int16_t>(v)}; });
    return unpack([](std::uint32_t v) { return static_cast<std::int32_t>(v); });
}

}  // namespace emberline::frame
