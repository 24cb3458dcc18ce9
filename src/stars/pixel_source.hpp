// SPDX-License-Identifier: MIT
// stars/pixel_source — pixels on demand, of a frame or of a picture in memory. Private to this room.
#pragma once

#include <mutex>
#include <vector>

#include "frame/frame.hpp"
#include "frame/pixels.hpp"
#include "quantities/problem.hpp"

namespace emberline::stars {

// Several threads may read at a time: one waits for another.
class PixelSource {
  public:
    explicit PixelSource(const frame::Cutout& picture) : picture_(&picture), box_(picture.box) {}
    explicit PixelSource(const frame::Frame& frame)
        : frame_(&frame), box_{0, 0, frame.facts().width_px, frame.facts().height_px} {}

    [[nodiscard]] const frame::PixelBox& box() const { return box_; }
    // Boxes must lie inside box(); a box that touches no stored pixel of a frame comes back undefined.
    [[nodiscard]] Result<std::vector<frame::Cutout>> read(const std::vector<frame::PixelBox>& boxes) const;

  private:
    const frame::Cutout* picture_ = nullptr;
    const frame::Frame* frame_ = nullptr;
    frame::PixelBox box_;
    mutable std::mutex reading_;
};

}  // namespace emberline::stars
