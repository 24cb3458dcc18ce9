// SPDX-License-Identifier: MIT
// frame/frame_rows — rows of many files, of which only so many stay open. Private to this room.
#pragma once

#include <cstddef>
#include <memory>
#include <string>
#include <vector>

#include "frame/fits_image.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

class FrameRows {
  public:
    explicit FrameRows(std::vector<std::string> paths, int width_px, int height_px);
    [[nodiscard]] std::size_t size() const { return paths_.size(); }
    [[nodiscard]] const std::string& path(std::size_t frame) const { return paths_[frame]; }
    [[nodiscard]] int width_px() const { return width_; }
    [[nodiscard]] int height_px() const { return height_; }
    // Rows y … y + n − 1 whole, as they lie in the file where that is plain: so they take a half or less of
    // the room. unpack() makes ADU of n pixels of them, beginning with pixel `from` of what was read.
    [[nodiscard]] Result<void> take(std::size_t frame, int y, int n, std::vector<unsigned char>& bytes);
    void unpack(std::size_t frame, const std::vector<unsigned char>& bytes, std::size_t from, std::size_t n,
                float* adu) const;
    // Of the frames that were read from so far: bytes of a pixel, of all together.
    [[nodiscard]] std::size_t pixel_bytes() const;
    // Rows y … y + n − 1 whole. Different frames may be read by different threads at a time. Problem: the
    // file cannot be read, or has another size than the rest.
    [[nodiscard]] Result<void> read(std::size_t frame, int y, int n, float* adu);

  private:
    struct Layout {
        int bits = 0;  // 0: not known yet; native floats where the file is not plain
        bool plain = false;
        Scaling scaling;
    };
    [[nodiscard]] Result<std::shared_ptr<FitsImage>> image(std::size_t frame);

    std::vector<std::string> paths_;
    std::vector<std::shared_ptr<FitsImage>> open_;  // null: opened for each read
    std::vector<Layout> layouts_;
    int width_, height_;
    std::size_t most_open_;
};

}  // namespace emberline::frame
