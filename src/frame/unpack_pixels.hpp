// SPDX-License-Identifier: MIT
// frame/unpack_pixels — from a FITS file's big-endian pixels to ADU. Private to this room.
// Source: FITS standard 4.0, sections 4.4.2.5 (BSCALE, BZERO, BLANK) and 5.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

namespace emberline::frame {

struct Scaling {
    double scale = 1.0, zero = 0.0;  // ADU = zero + scale × stored
    std::optional<long long> blank;  // the stored integer that means undefined
};

// `bits` is BITPIX; `bytes` holds n pixels of that kind. What is undefined or not finite becomes NaN.
void unpack_pixels(int bits, const unsigned char* bytes, std::size_t n, const Scaling& scaling, float* adu);

// The same of integers that were unpacked already.
void scale_pixels(const std::int32_t* stored, std::size_t n, const Scaling& scaling, float* adu);

}  // namespace emberline::frame
