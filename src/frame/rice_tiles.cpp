// SPDX-License-Identifier: MIT
#include "frame/rice_tiles.hpp"

#include <span>

namespace emberline::frame {

bool RiceTiles::find_streams() {
    if (!lengths_.empty()) return true;
    LONGLONG rows = 0;
    int status = 0;
    fits_get_num_rowsll(table_, &rows, &status);
    if (status != 0 || rows < layout_.grid.tiles()) {
        fits_clear_errmsg();
        return false;
    }
    const auto tiles = static_cast<std::size_t>(layout_.grid.tiles());
    std::vector<LONGLONG> lengths(tiles), offsets(tiles);
    fits_read_descriptsll(table_, layout_.column, 1, layout_.grid.tiles(), lengths.data(), offsets.data(),
                          &status);
    LONGLONG header = 0, data = 0, end = 0;
    fits_get_hduaddrll(table_, &header, &data, &end, &status);
    fits_clear_errmsg();
    if (status != 0) return false;
    const LONGLONG after_rows = table_->Fptr->heapstart;
    if (after_rows < 0 || after_rows > file_.size()) return false;
    const LONGLONG heap = data + after_rows;
    for (LONGLONG& offset : offsets) {
        if (offset < 0 || offset > file_.size() - heap) return false;
        offset += heap;
    }
    lengths_ = std::move(lengths);
    offsets_ = std::move(offsets);
    return true;
}

RiceTiles::Outcome RiceTiles::unpack(long long tile, std::size_t whole_px, std::size_t wanted_px) {
    const auto at = static_cast<std::size_t>(tile);
    const LONGLONG length = lengths_[at];
    if (length == 0) return Outcome::elsewhere;
    if (length < 0 || length > file_.size() - offsets_[at]) return Outcome::damaged;
    stream_.resize(static_cast<std::size_t>(length));
    if (file_.read(offsets_[at], stream_) != stream_.size()) return Outcome::damaged;
    stored_.resize(wanted_px);
    const std::span bytes(reinterpret_cast<const unsigned char*>(stream_.data()), stream_.size());
    return unpack_rice(bytes, whole_px, layout_.blocks, stored_) ? Outcome::read : Outcome::damaged;
}

RiceTiles::Outcome RiceTiles::read(int plane, const PixelBox& box, float* adu) {
    if (!find_streams()) return Outcome::damaged;
    const TileGrid& grid = layout_.grid;
    const auto columns = static_cast<std::size_t>(box.width);
    Outcome outcome = Outcome::read;
    grid.each(box, [&](int row, int column) {
        const PixelBox tile = grid.box(row, column), part = tile.shared(box);
        // Of the tile's pixels, row after row and plane after plane.
        const auto place = [&](int x, int y) {
            const auto rows =
                static_cast<std::size_t>(plane % grid.tile_planes) * static_cast<std::size_t>(tile.height) +
                static_cast<std::size_t>(y - tile.y0);
            return rows * static_cast<std::size_t>(tile.width) + static_cast<std::size_t>(x - tile.x0);
        };
        outcome = unpack(grid.number(plane, row, column), grid.pixels(plane, row, column),
                         place(part.x0 + part.width - 1, part.y0 + part.height - 1) + 1);
        if (outcome != Outcome::read) return false;
        for (int y = part.y0; y < part.y0 + part.height; ++y) {
            scale_pixels(stored_.data() + place(part.x0, y), static_cast<std::size_t>(part.width),
                         layout_.scaling,
                         adu + static_cast<std::size_t>(y - box.y0) * columns +
                             static_cast<std::size_t>(part.x0 - box.x0));
        }
        return true;
    });
    return outcome;
}

}  // namespace emberline::frame
