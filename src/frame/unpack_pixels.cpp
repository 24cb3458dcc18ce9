// SPDX-License-Identifier: MIT
#include "frame/unpack_pixels.hpp"

#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <limits>

namespace emberline::frame {
namespace {

static_assert(std::endian::native == std::endian::little, "pixels are turned around below");

constexpr float undefined = std::numeric_limits<float>::quiet_NaN();

// The shapes that compilers turn into one instruction, or into a vector of them.
template <class Bits>
Bits turned(const unsigned char* bytes) {
    Bits v = 0;
    std::memcpy(&v, bytes, sizeof(Bits));
    if constexpr (sizeof(Bits) == 2) v = __builtin_bswap16(v);
    if constexpr (sizeof(Bits) == 4) v = __builtin_bswap32(v);
    if constexpr (sizeof(Bits) == 8) v = __builtin_bswap64(v);
    return v;
}

float finite(double v) {
    const auto narrow = static_cast<float>(v);
    return std::isfinite(narrow) ? narrow : undefined;
}

template <class Stored>
float scaled(Stored stored, const Scaling& s) {
    const bool blank = s.blank && static_cast<long long>(stored) == *s.blank;
    return blank ? undefined : finite(static_cast<double>(stored) * s.scale + s.zero);
}

template <class Stored, class Bits>
void integers(const unsigned char* bytes, std::size_t n, const Scaling& s, float* adu) {
    for (std::size_t i = 0; i < n; ++i)
        adu[i] = scaled(static_cast<Stored>(turned<Bits>(bytes + i * sizeof(Bits))), s);
}

// What cameras write: 16 bits, unsigned by way of BZERO. In stretches of a fixed length, of which compilers
// make vectors.
void plain_16_bits(const unsigned char* bytes, std::size_t n, int zero, float* adu) {
    const auto value = [&](const unsigned char* at) {
        return static_cast<float>(static_cast<std::int16_t>(turned<std::uint16_t>(at)) + zero);
    };
    constexpr std::size_t stretch = 64;
    std::array<std::uint16_t, stretch> stored{};
    std::array<float, stretch> values{};
    std::size_t i = 0;
    for (; i + stretch <= n; i += stretch) {
        std::memcpy(stored.data(), bytes + 2 * i, sizeof(stored));
        for (std::size_t k = 0; k < stretch; ++k) {
            const auto swapped = static_cast<std::uint16_t>((stored[k] << 8U) | (stored[k] >> 8U));
            values[k] = static_cast<float>(static_cast<std::int16_t>(swapped) + zero);
        }
        std::memcpy(adu + i, values.data(), sizeof(values));
    }
    for (; i < n; ++i)
        adu[i] = value(bytes + 2 * i);
}

template <class Stored, class Bits>
void floats(const unsigned char* bytes, std::size_t n, const Scaling& s, float* adu) {
    for (std::size_t i = 0; i < n; ++i) {
        const auto stored = std::bit_cast<Stored>(turned<Bits>(bytes + i * sizeof(Bits)));
        adu[i] = finite(static_cast<double>(stored) * s.scale + s.zero);
    }
}

}  // namespace

void unpack_pixels(int bits, const unsigned char* bytes, std::size_t n, const Scaling& s, float* adu) {
    const bool usual = s.scale == 1.0 && !s.blank && (s.zero == 0.0 || s.zero == 32768.0);
    switch (bits) {
        case 8:
            return integers<std::uint8_t, std::uint8_t>(bytes, n, s, adu);
        case 16:
            if (usual) return plain_16_bits(bytes, n, static_cast<int>(s.zero), adu);
            return integers<std::int16_t, std::uint16_t>(bytes, n, s, adu);
        case 32:
            return integers<std::int32_t, std::uint32_t>(bytes, n, s, adu);
        case 64:
            return integers<std::int64_t, std::uint64_t>(bytes, n, s, adu);
        case -32:
            return floats<float, std::uint32_t>(bytes, n, s, adu);
        default:
            return floats<double, std::uint64_t>(bytes, n, s, adu);
    }
}

void scale_pixels(const std::int32_t* stored, std::size_t n, const Scaling& s, float* adu) {
    for (std::size_t i = 0; i < n; ++i)
        adu[i] = scaled(stored[i], s);
}

}  // namespace emberline::frame
