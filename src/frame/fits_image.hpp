// SPDX-License-Identifier: MIT
// frame/fits_image — one image of a FITS file, opened: its header and its pixels. Private to this room.
// Uncompressed images are read straight from their bytes, rows of a box and nothing else; everything else
// goes through cfitsio, which unpacks only the tiles that a box touches.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "frame/header.hpp"
#include "frame/pixels.hpp"
#include "frame/rice_tiles.hpp"
#include "frame/tile_grid.hpp"
#include "frame/unpack_pixels.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

class FitsImage {
  public:
    // Problem: not FITS, empty, cut short, no image of two dimensions (or a cube of three planes). With a
    // name, the image of that EXTNAME is taken instead of the first one.
    static Result<std::shared_ptr<FitsImage>> open(const std::string& path,
                                                   const std::string& extension = {});
    FitsImage(const FitsImage&) = delete;
    FitsImage& operator=(const FitsImage&) = delete;
    ~FitsImage();

    [[nodiscard]] const std::string& path() const { return path_; }
    [[nodiscard]] const Header& header() const { return header_; }
    [[nodiscard]] int hdu() const { return hdu_; }
    // Bytes from the start of the file, unpacked where it is gzipped as a whole: of the image's header, and
    // of its first pixel or its table of tiles.
    [[nodiscard]] long long header_offset() const { return header_offset_; }
    [[nodiscard]] long long data_offset() const { return data_offset_; }
    [[nodiscard]] int width_px() const { return width_; }
    [[nodiscard]] int height_px() const { return height_; }
    [[nodiscard]] int planes() const { return planes_; }
    [[nodiscard]] int bits() const { return bits_; }  // BITPIX of the pixels, unpacked
    [[nodiscard]] std::string pixel_type() const;
    [[nodiscard]] bool tile_compressed() const { return tile_compressed_; }
    // A file that is gzipped as a whole lies unpacked in memory for as long as it is open.
    [[nodiscard]] bool in_memory() const { return gzipped_ && !tile_compressed_; }
    // Several threads may read at a time; otherwise one.
    [[nodiscard]] bool shareable() const { return plain_; }
    // Boxes lie inside the image, or are empty. A tile that several of them touch is unpacked once.
    [[nodiscard]] Result<std::vector<Cutout>> read(int plane, const std::vector<PixelBox>& boxes) const;
    // One box into memory of the caller's, row-major.
    [[nodiscard]] Result<void> read_into(int plane, const PixelBox& box, float* adu) const;
    // Whole rows of the first plane as they lie in the file, where they do (is_plain), for unpack_pixels.
    [[nodiscard]] bool is_plain() const { return plain_; }
    [[nodiscard]] const Scaling& scaling() const { return scaling_; }
    [[nodiscard]] Result<void> read_bytes(int y, int rows, unsigned char* bytes) const;

  private:
    struct Handle;
    FitsImage();
    [[nodiscard]] Result<void> check_header(long long offset) const;
    [[nodiscard]] Result<void> find_image(const std::string& extension);
    [[nodiscard]] bool is_named(const std::string& extension) const;
    [[nodiscard]] Result<void> read_layout();
    [[nodiscard]] Result<void> read_tiling();
    [[nodiscard]] Result<void> take_header();
    [[nodiscard]] bool keeps_whole_numbers() const;
    [[nodiscard]] Result<void> check_length();
    [[nodiscard]] Result<void> take_bytes(long long offset, std::size_t n, unsigned char* bytes) const;
    [[nodiscard]] Result<void> read_plain(int plane, const PixelBox& box, float* adu) const;
    [[nodiscard]] Result<void> read_packed(int plane, const PixelBox& box, float* adu) const;
    [[nodiscard]] Result<void> check_tiles(int plane, const PixelBox& box) const;
    [[nodiscard]] Result<void> read_tiles(int plane, std::vector<Cutout>& cutouts) const;
    [[nodiscard]] Problem problem(std::string what, std::string mend) const;
    [[nodiscard]] Problem library_problem(int status) const;

    std::string path_;
    Header header_;
    std::unique_ptr<Handle> handle_;
    int hdu_ = 0;
    int width_ = 0, height_ = 0, planes_ = 1;
    int bits_ = 16;
    Scaling scaling_;
    bool tile_compressed_ = false;
    TileGrid tiles_;  // where tile-compressed
    struct TileStream {
        int column;  // of the tiles' table
        bool gzipped;
    };
    std::vector<TileStream> tile_streams_;  // that are walked through before cfitsio unpacks them
    RiceBlocks rice_;
    std::unique_ptr<RiceTiles> rice_tiles_;  // of whole numbers: read without cfitsio
    bool plain_ = false;                     // its pixels lie in the file, or unpacked, as they are
    bool gzipped_ = false;                   // as a whole
    long long header_offset_ = 0, data_offset_ = 0;
};

}  // namespace emberline::frame
