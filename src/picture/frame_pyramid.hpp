// SPDX-License-Identifier: MIT
// picture/frame_pyramid — a frame of any size to be looked at in small parts: its reduced levels, each half
// as wide and high as the one before, as grey tiles. Level k holds means over 2^k × 2^k pixels, at its edges
// and about undefined pixels over those that are there; level 0 is the frame and is read when it is asked
// for. Needs: a Frame, read once through in strips.  Feeds: the page. Memory: a third of a byte a pixel of
// the frame, 9 MB for 26 megapixels; some five times that while it is made.
#pragma once

#include <memory>
#include <mutex>
#include <vector>

#include "frame/frame.hpp"
#include "picture/grey_picture.hpp"
#include "picture/grey_scale.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

inline constexpr int tile_px = 256;

struct PyramidLevel {
    int level = 0, width_px = 0, height_px = 0, columns = 0, rows = 0;  // of tiles
    bool operator==(const PyramidLevel&) const = default;
};

class FramePyramid {
  public:
    // Reads on one thread while another adds up. Problem: the frame cannot be read, holds no defined pixel,
    // or there is no memory (storage).
    static Result<FramePyramid> of(frame::Frame frame);

    [[nodiscard]] const std::vector<PyramidLevel>& levels() const { return levels_; }  // down to one tile
    // Of all levels: about the frame's sky and its noise, by a sample clipped so that integer pixels do no
    // harm, up to its brightest pixel.
    [[nodiscard]] const GreyScale& scale() const { return scale_; }
    // Where a first look shows faint stars and some of what is around bright ones.
    [[nodiscard]] double black_adu() const { return black_adu_; }
    [[nodiscard]] double white_adu() const { return white_adu_; }
    [[nodiscard]] std::size_t bytes() const;

    // The first row is the lowest of the tile as it is stored. Several threads may ask at a time. Problem: no
    // such tile (request); level 0: the frame cannot be read any more.
    [[nodiscard]] Result<GreyPicture> tile(int level, int column, int row) const;

  private:
    FramePyramid(frame::Frame frame, const GreyScale& scale)
        : frame_(std::move(frame)), scale_(scale), coder_(scale), reading_(std::make_unique<std::mutex>()) {}

    frame::Frame frame_;
    GreyScale scale_;
    GreyCoder coder_;
    double black_adu_ = 0.0, white_adu_ = 0.0;
    std::vector<PyramidLevel> levels_;
    std::vector<std::vector<std::uint8_t>> greys_;  // of each level; of level 0 none
    std::unique_ptr<std::mutex> reading_;           // a Frame is used by one thread at a time
};

}  // namespace emberline::picture
