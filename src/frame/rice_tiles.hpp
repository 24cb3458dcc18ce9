// SPDX-License-Identifier: MIT
// frame/rice_tiles — the pixels of an image that is packed in tiles of Rice codes, each unpacked no further
// than to the last pixel that is asked for. Private to this room. Source: FITS standard 4.0, sections 10.1
// and 10.4.1.
#pragma once

#include <fitsio.h>

#include <cstdint>
#include <vector>

#include "frame/file_bytes.hpp"
#include "frame/rice.hpp"
#include "frame/tile_grid.hpp"
#include "frame/unpack_pixels.hpp"

namespace emberline::frame {

class RiceTiles {
  public:
    struct Layout {
        TileGrid grid;
        RiceBlocks blocks;
        int column = 1;  // of the streams, in the table of tiles
        Scaling scaling;
    };
    // `table` is open at the table of tiles and stays there. Both outlive this.
    RiceTiles(const FileBytes& file, fitsfile* table, const Layout& layout)
        : file_(file), table_(table), layout_(layout) {}

    // `elsewhere`: a tile of them is kept in another column, packed in another way.
    enum class Outcome { read, elsewhere, damaged };
    // `adu` is row-major, of a box inside the image. Not by several threads at a time.
    [[nodiscard]] Outcome read(int plane, const PixelBox& box, float* adu);

  private:
    [[nodiscard]] bool find_streams();
    [[nodiscard]] Outcome unpack(long long tile, std::size_t whole_px, std::size_t wanted_px);

    const FileBytes& file_;
    fitsfile* table_;
    Layout layout_;
    std::vector<LONGLONG> lengths_, offsets_;  // bytes, of each tile's stream; offsets in the file
    std::vector<char> stream_;
    std::vector<std::int32_t> stored_;  // the pixels of a tile, from its first on
};

}  // namespace emberline::frame
