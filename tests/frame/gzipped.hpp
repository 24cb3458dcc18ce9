// SPDX-License-Identifier: MIT
// Bytes as one member of a gzip file (RFC 1952), packed by zlib.
#pragma once

#include <zlib.h>

#include <string>

namespace emberline::frame::testing {

// Empty where zlib has no memory.
inline std::string gzipped(std::string plain) {
    z_stream stream{};
    if (deflateInit2(&stream, 6, Z_DEFLATED, MAX_WBITS + 16, 8, Z_DEFAULT_STRATEGY) != Z_OK) return {};
    std::string packed(deflateBound(&stream, plain.size()), '\0');
    stream.next_in = reinterpret_cast<Bytef*>(plain.data());
    stream.avail_in = static_cast<uInt>(plain.size());
    stream.next_out = reinterpret_cast<Bytef*>(packed.data());
    stream.avail_out = static_cast<uInt>(packed.size());
    deflate(&stream, Z_FINISH);
    packed.resize(stream.total_out);
    deflateEnd(&stream);
    return packed;
}

}  // namespace emberline::frame::testing
