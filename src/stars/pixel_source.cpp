// SPDX-License-Identifier: MIT
#include "stars/pixel_source.hpp"

#include <algorithm>
#include <limits>

#include "frame/lattice_box.hpp"

namespace emberline::stars {
namespace {

frame::Cutout part_of(const frame::Cutout& picture, const frame::PixelBox& box) {
    frame::Cutout part{box, {}};
    part.adu.reserve(static_cast<std::size_t>(box.width) * static_cast<std::size_t>(box.height));
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        const float* row = &picture.adu[static_cast<std::size_t>(y - picture.box.y0) *
                                            static_cast<std::size_t>(picture.box.width) +
                                        static_cast<std::size_t>(box.x0 - picture.box.x0)];
        part.adu.insert(part.adu.end(), row, row + box.width);
    }
    return part;
}

}  // namespace

Result<std::vector<frame::Cutout>> PixelSource::read(const std::vector<frame::PixelBox>& boxes) const {
    std::vector<frame::Cutout> out(boxes.size());
    if (picture_ != nullptr) {
        std::transform(boxes.begin(), boxes.end(), out.begin(),
                       [&](const frame::PixelBox& box) { return part_of(*picture_, box); });
        return out;
    }
    std::vector<frame::PixelBox> wanted;
    std::vector<std::size_t> which;
    for (std::size_t i = 0; i < boxes.size(); ++i) {
        if (frame::touches_frame(frame_->facts(), boxes[i])) {
            wanted.push_back(boxes[i]);
            which.push_back(i);
        } else {
            out[i] = {boxes[i], std::vector<float>(static_cast<std::size_t>(boxes[i].width) *
                                                       static_cast<std::size_t>(boxes[i].height),
                                                   std::numeric_limits<float>::quiet_NaN())};
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
