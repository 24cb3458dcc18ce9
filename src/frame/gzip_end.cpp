// SPDX-License-Identifier: MIT
// Notation: a code of `length` bits is the first[length] + k-th of its length, in the order of symbols.
#include "frame/gzip_end.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>

namespace emberline::frame {
namespace {

constexpr std::size_t longest_code = 15;
constexpr std::size_t most_symbols = 288;

class Bits {
  public:
    explicit Bits(std::span<const unsigned char> bytes) : bytes_(bytes) {}
    // Least significant bit first; nothing when the bytes have run out.
    std::optional<unsigned> take(unsigned n) {
        while (held_ < n) {
            if (next_ == bytes_.size()) return std::nullopt;
            store_ |= static_cast<std::uint64_t>(bytes_[next_++]) << held_;
            held_ += 8;
        }
        const auto out = static_cast<unsigned>(store_ & ((std::uint64_t{1} << n) - 1));
        store_ >>= n;
        held_ -= n;
        return out;
    }
    [[nodiscard]] bool skip_bytes(std::size_t n) {
        for (; n > 0; --n) {
            if (!take(8)) return false;
        }
        return true;
    }
    void to_byte() {
        store_ >>= held_ % 8;
        held_ -= held_ % 8;
    }

  private:
    std::span<const unsigned char> bytes_;
    std::size_t next_ = 0;
    std::uint64_t store_ = 0;
    unsigned held_ = 0;
};

// Canonical Huffman code, RFC 1951 section 3.2.2.
class Code {
  public:
    explicit Code(std::span<const unsigned char> lengths) {
        for (const unsigned char length : lengths)
            ++count_[length];
        count_[0] = 0;
        std::array<std::size_t, longest_code + 2> start{};
        for (std::size_t length = 1; length <= longest_code; ++length)
            start[length + 1] = start[length] + count_[length];
        for (std::size_t symbol = 0; symbol < lengths.size(); ++symbol) {
            if (lengths[symbol] != 0) symbols_[start[lengths[symbol]]++] = static_cast<std::uint16_t>(symbol);
        }
    }
    [[nodiscard]] std::optional<unsigned> read(Bits& bits) const {
        std::size_t code = 0, first = 0, index = 0;
        for (std::size_t length = 1; length <= longest_code; ++length) {
            const auto bit = bits.take(1);
            if (!bit) return std::nullopt;
            code |= *bit;
            if (code < first + count_[length]) return symbols_[index + code - first];
            index += count_[length];
            first = (first + count_[length]) << 1U;
            code <<= 1U;
        }
        return std::nullopt;
    }

  private:
    std::array<std::size_t, longest_code + 1> count_{};
    std::array<std::uint16_t, most_symbols> symbols_{};
};

// To the end-of-block symbol; what is between is only counted off.
bool walk_codes(Bits& bits, const Code& literals, const Code& distances) {
    for (;;) {
        const auto symbol = literals.read(bits);
        if (!symbol || *symbol > 285) return false;
        if (*symbol == 256) return true;
        if (*symbol < 256) continue;
        const unsigned length_bits = *symbol < 265 || *symbol == 285 ? 0 : (*symbol - 261) / 4;
        if (!bits.take(length_bits)) return false;
        const auto distance = distances.read(bits);
        if (!distance || *distance > 29) return false;
        if (!bits.take(*distance < 4 ? 0 : (*distance - 2) / 2)) return false;
    }
}

bool walk_stored(Bits& bits) {
    bits.to_byte();
    const auto length = bits.take(16), inverse = bits.take(16);
    return length && inverse && *length == (~*inverse & 0xffffU) && bits.skip_bytes(*length);
}

bool walk_fixed(Bits& bits) {
    std::array<unsigned char, most_symbols> lengths{};
    std::fill(lengths.begin(), lengths.end(), static_cast<unsigned char>(8));
    std::fill(lengths.begin() + 144, lengths.begin() + 256, static_cast<unsigned char>(9));
    std::fill(lengths.begin() + 256, lengths.begin() + 280, static_cast<unsigned char>(7));
    std::array<unsigned char, 30> fives{};
    fives.fill(5);
    return walk_codes(bits, Code(lengths), Code(fives));
}

// RFC 1951 section 3.2.7: the code lengths are themselves coded.
bool walk_dynamic(Bits& bits) {
    constexpr std::array<std::size_t, 19> order{16, 17, 18, 0, 8,  7, 9,  6, 10, 5,
                                                11, 4,  12, 3, 13, 2, 14, 1, 15};
    const auto literals = bits.take(5), distances = bits.take(5), coded = bits.take(4);
    if (!literals || !distances || !coded || *literals > 29 || *distances > 29) return false;
    std::array<unsigned char, 19> meta{};
    for (std::size_t i = 0; i < *coded + 4; ++i) {
        const auto length = bits.take(3);
        if (!length) return false;
        meta[order[i]] = static_cast<unsigned char>(*length);
    }
    const Code lengths_code(meta);
    const std::size_t n_literals = *literals + 257, n = n_literals + *distances + 1;
    std::array<unsigned char, 286 + 30> lengths{};
    for (std::size_t i = 0; i < n;) {
        const auto symbol = lengths_code.read(bits);
        if (!symbol || (*symbol == 16 && i == 0)) return false;
        if (*symbol < 16) {
            lengths[i++] = static_cast<unsigned char>(*symbol);
            continue;
        }
        const auto more = bits.take(*symbol == 16 ? 2 : *symbol == 17 ? 3 : 7);
        if (!more) return false;
        const std::size_t times = *more + (*symbol == 18 ? 11U : 3U);
        if (i + times > n) return false;
        const unsigned char repeated = *symbol == 16 ? lengths[i - 1] : static_cast<unsigned char>(0);
        std::fill_n(lengths.begin() + static_cast<std::ptrdiff_t>(i), times, repeated);
        i += times;
    }
    const std::span<const unsigned char> all(lengths);
    return walk_codes(bits, Code(all.first(n_literals)), Code(all.subspan(n_literals, n - n_literals)));
}

bool skip_text(Bits& bits) {
    for (;;) {
        const auto byte = bits.take(8);
        if (!byte) return false;
        if (*byte == 0) return true;
    }
}

// RFC 1952 section 2.3.
bool walk_gzip_header(Bits& bits) {
    const auto magic = bits.take(16), method = bits.take(8), flags = bits.take(8);
    if (!magic || *magic != 0x8b1fU || !method || *method != 8 || !flags || !bits.skip_bytes(6)) return false;
    if ((*flags & 4U) != 0) {
        const auto extra = bits.take(16);
        if (!extra || !bits.skip_bytes(*extra)) return false;
    }
    if ((*flags & 8U) != 0 && !skip_text(bits)) return false;
    if ((*flags & 16U) != 0 && !skip_text(bits)) return false;
    return (*flags & 2U) == 0 || bits.skip_bytes(2);
}

}  // namespace

bool gzip_ends(std::span<const unsigned char> bytes) {
    Bits bits(bytes);
    if (!walk_gzip_header(bits)) return false;
    for (;;) {
        const auto last = bits.take(1), kind = bits.take(2);
        if (!last || !kind) return false;
        const bool good = *kind == 0   ? walk_stored(bits)
                          : *kind == 1 ? walk_fixed(bits)
                          : *kind == 2 ? walk_dynamic(bits)
                                       : false;
        if (!good) return false;
        if (*last == 1) break;
    }
    bits.to_byte();
    return bits.skip_bytes(8);  // checksum and length
}

}  // namespace emberline::frame
