// SPDX-License-Identifier: MIT
#include "stars/pixel_source.hpp"

#include <algorithm>
#include <limits>

#include "frame/lattice_box.hpp"

namespace emberline::stars {
Result<std::vector<frame::Cutout>> PixelSource::read(const std::vector<frame::PixelBox>& boxes) const {
    std::vector<frame::Cutout> out(boxes.size());
    if (picture_ != nullptr) {
        std::transform(boxes.begin(), boxes.end(), out.begin(),
                       [&](const frame::PixelBox& box) { return picture_->part(box); });
        return out;
    }
    std::vector<frame::PixelBox> wanted;
    std::vector<std::size_t> which;
    for (std::size_t i = 0; i < boxes.size(); ++i) {
        if (frame::touches_frame(frame_->facts(), boxes[i])) {
            wanted.push_back(boxes[i]);
            which.push_back(i);
        } else {
            out[i] = {boxes[i],
                      std::vector<float>(boxes[i].pixels(), std::numeric_limits<float>::quiet_NaN())};
        }
    }
    if (wanted.empty()) return out;
    const std::scoped_lock lock(reading_);
    auto read = frame_->read(wanted);
    if (!read) return fail(read.error());
    for (std::size_t k = 0; k < which.size(); ++k)
        out[which[k]] = std::move((*read)[k]);
    return out;
}

}  // namespace emberline::stars
