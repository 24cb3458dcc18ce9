// SPDX-License-Identifier: MIT
#include "frame/frame_rows.hpp"

#include <fmt/format.h>
#include <sys/resource.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>

namespace emberline::frame {
namespace {

// Half of what the system allows: the rest is for whatever else is open.
std::size_t files_allowed() {
    constexpr std::size_t least = 8, most = 400;
    rlimit limit{};
    if (::getrlimit(RLIMIT_NOFILE, &limit) != 0) return least;
    return std::clamp<std::size_t>(static_cast<std::size_t>(limit.rlim_cur) / 2, least, most);
}

}  // namespace

FrameRows::FrameRows(std::vector<std::string> paths, int width_px, int height_px)
    : paths_(std::move(paths)),
      open_(paths_.size()),
      layouts_(paths_.size()),
      width_(width_px),
      height_(height_px),
      most_open_(files_allowed()) {}

Result<std::shared_ptr<FitsImage>> FrameRows::image(std::size_t frame) {
    if (open_[frame]) return open_[frame];
    auto opened = FitsImage::open(paths_[frame]);
    if (!opened) return opened;
    const FitsImage& image = **opened;
    if (image.width_px() != width_ || image.height_px() != height_ || image.planes() != 1) {
        return fail({.what = fmt::format("The frame is {} × {} pixels and {} plane{}, the others {} × {}.",
                                         image.width_px(), image.height_px(), image.planes(),
                                         image.planes() == 1 ? "" : "s", width_, height_),
                     .where = paths_[frame],
                     .mend = "Combine frames of one size only."});
    }
    layouts_[frame] = image.is_plain() ? Layout{image.bits(), true, image.scaling()} : Layout{-32, false, {}};
    if (frame < most_open_ && !image.in_memory()) open_[frame] = *opened;
    return opened;
}

Result<void> FrameRows::read(std::size_t frame, int y, int n, float* adu) {
    const auto from = image(frame);
    if (!from) return fail(from.error());
    return (*from)->read_into(0, {0, y, width_, n}, adu);
}

Result<void> FrameRows::take(std::size_t frame, int y, int n, std::vector<unsigned char>& bytes) {
    const auto from = image(frame);
    if (!from) return fail(from.error());
    const std::size_t pixels = static_cast<std::size_t>(n) * static_cast<std::size_t>(width_);
    bytes.resize(pixels * static_cast<std::size_t>(std::abs(layouts_[frame].bits) / 8));
    if (layouts_[frame].plain) return (*from)->read_bytes(y, n, bytes.data());
    std::vector<float> row(static_cast<std::size_t>(width_));
    for (int r = 0; r < n; ++r) {
        if (auto good = (*from)->read_into(0, {0, y + r, width_, 1}, row.data()); !good) return good;
        std::memcpy(bytes.data() + static_cast<std::size_t>(r) * row.size() * sizeof(float), row.data(),
                    row.size() * sizeof(float));
    }
    return {};
}

void FrameRows::unpack(std::size_t frame, const std::vector<unsigned char>& bytes, std::size_t from,
                       std::size_t n, float* adu) const {
    const Layout& layout = layouts_[frame];
    const auto pixel_bytes = static_cast<std::size_t>(std::abs(layout.bits) / 8);
    if (layout.plain)
        unpack_pixels(layout.bits, bytes.data() + from * pixel_bytes, n, layout.scaling, adu);
    else
        std::memcpy(adu, bytes.data() + from * pixel_bytes, n * pixel_bytes);
}

std::size_t FrameRows::pixel_bytes() const {
    std::size_t sum = 0;
    for (const Layout& layout : layouts_)
        sum += static_cast<std::size_t>(std::abs(layout.bits) / 8);
    return sum;
}

}  // namespace emberline::frame
