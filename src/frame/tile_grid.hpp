// SPDX-License-Identifier: MIT
// frame/tile_grid — how an image is cut into tiles. Private to this room.
// Source: FITS standard 4.0, section 10.1: tiles follow each other along the rows, then up, then by planes;
// the last ones of each may be smaller.
#pragma once

#include <algorithm>
#include <cstddef>

#include "frame/pixels.hpp"

namespace emberline::frame {

struct TileGrid {
    int width_px = 1, height_px = 1, planes = 1;                 // of the image
    int tile_width_px = 1, tile_height_px = 1, tile_planes = 1;  // of a tile that is whole

    [[nodiscard]] long long across() const { return pieces(width_px, tile_width_px); }
    [[nodiscard]] long long up() const { return pieces(height_px, tile_height_px); }
    [[nodiscard]] long long tiles() const { return across() * up() * pieces(planes, tile_planes); }
    [[nodiscard]] bool possible() const {
        return fits(width_px, tile_width_px) && fits(height_px, tile_height_px) && fits(planes, tile_planes);
    }

    // What a tile covers of a plane, and how many pixels it has in all its planes.
    [[nodiscard]] PixelBox box(int row, int column) const {
        return {column * tile_width_px, row * tile_height_px, side(width_px, tile_width_px, column),
                side(height_px, tile_height_px, row)};
    }
    [[nodiscard]] std::size_t pixels(int plane, int row, int column) const {
        const PixelBox flat = box(row, column);
        return static_cast<std::size_t>(flat.width) * static_cast<std::size_t>(flat.height) *
               static_cast<std::size_t>(side(planes, tile_planes, plane / tile_planes));
    }
    // From 0, in the order of the table's rows.
    [[nodiscard]] long long number(int plane, int row, int column) const {
        return (plane / tile_planes * up() + row) * across() + column;
    }

    // Calls visit(row, column) for each tile that a box inside the image touches, along the rows and up,
    // until it says false; says whether it never did.
    template <class Visit>
    bool each(const PixelBox& within, const Visit& visit) const {
        if (within.empty()) return true;
        const int last_row = (within.y0 + within.height - 1) / tile_height_px;
        const int last_column = (within.x0 + within.width - 1) / tile_width_px;
        for (int row = within.y0 / tile_height_px; row <= last_row; ++row) {
            for (int column = within.x0 / tile_width_px; column <= last_column; ++column) {
                if (!visit(row, column)) return false;
            }
        }
        return true;
    }

  private:
    static long long pieces(int whole, int of_piece) { return (whole + of_piece - 1LL) / of_piece; }
    static int side(int whole, int of_tile, int number) {
        return std::min(of_tile, whole - number * of_tile);
    }
    static bool fits(int whole, int of_tile) { return of_tile >= 1 && of_tile <= whole; }
};

}  // namespace emberline::frame
