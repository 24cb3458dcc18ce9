// SPDX-License-Identifier: MIT
// picture/grey_picture — a picture of grey levels, and the file that a browser shows.
// Source: PNG (ISO/IEC 15948:2004), zlib (RFC 1950), base64 (RFC 4648, section 4).
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace emberline::picture {

// Of a drawing the upper row first: 0 is ink, 255 paper. Of a frame as the pixels are stored.
struct GreyPicture {
    int width = 0, height = 0;
    std::vector<std::uint8_t> grey;
};

// The bytes of a PNG of 8 bits a pixel.
[[nodiscard]] std::string png_of(const GreyPicture& picture);
// The same as "data:image/png;base64,…".
[[nodiscard]] std::string data_uri(const GreyPicture& picture);

}  // namespace emberline::picture
