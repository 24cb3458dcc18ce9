// SPDX-License-Identifier: MIT
#include "frame/frame_rows.hpp"

#include <fmt/format.h>
#include <sys/resource.h>

#include <algorithm>
#include <exception>
#include <thread>

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
      width_(width_px),
      height_(height_px),
      most_open_(files_allowed()) {}

Result<void> FrameRows::read(std::size_t frame, int y, int n, float* adu) {
    std::shared_ptr<FitsImage> image = open_[frame];
    if (!image) {
        auto opened = FitsImage::open(paths_[frame]);
        if (!opened) return fail(opened.error());
        image = std::move(*opened);
        if (image->width_px() != width_ || image->height_px() != height_ || image->planes() != 1) {
            return fail(
                {.what = fmt::format("The frame is {} × {} pixels and {} plane{}, the others {} × {}.",
                                     image->width_px(), image->height_px(), image->planes(),
                                     image->planes() == 1 ? "" : "s", width_, height_),
                 .where = paths_[frame],
                 .mend = "Combine frames of one size only."});
        }
        if (frame < most_open_ && !image->in_memory()) open_[frame] = image;
    }
    return image->read_into(0, {0, y, width_, n}, adu);
}

void share_out(std::size_t n, int threads, const std::function<void(std::size_t)>& work) {
    const auto many = static_cast<std::size_t>(std::max(1, threads));
    std::vector<std::exception_ptr> thrown(many);
    const auto take = [&](std::size_t t) {
        try {
            for (std::size_t i = t; i < n; i += many)
                work(i);
        } catch (...) {
            thrown[t] = std::current_exception();
        }
    };
    std::vector<std::thread> others;
    for (std::size_t t = 1; t < std::min(many, n); ++t)
        others.emplace_back(take, t);
    take(0);
    for (std::thread& other : others)
        other.join();
    for (const std::exception_ptr& one : thrown) {
        if (one) std::rethrow_exception(one);
    }
}

}  // namespace emberline::frame
