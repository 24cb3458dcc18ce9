// SPDX-License-Identifier: MIT
// Levels are made in blocks: a part of the frame that begins at multiples of 2^8 pixels holds whole pixels of
// every level up to the eighth, whatever it was read together with. Levels beyond it, of frames more than
// 65536 pixels wide, are made of the eighth's sums.
#include "picture/frame_pyramid.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <exception>
#include <future>
#include <limits>
#include <optional>

#include "frame/lattice_box.hpp"
#include "numerics/robust.hpp"

namespace emberline::picture {
namespace {

using frame::Cutout;
using frame::PixelBox;

constexpr int block_level = 8, block_px = 1 << block_level;
constexpr double part_pixels = 1.0e6;  // read at a time
constexpr int widest_part_px = 8192;   // a multiple of block_px
constexpr double sample_pixels = 50000.0;
constexpr double black_sigma = 2.0, least_white_sigma = 20.0, most_white_sigma = 300.0;
constexpr double white_share = 0.998;  // of the pixels are below white

int shrunk(int size, int times) {
    return static_cast<int>((static_cast<long long>(size) + (1LL << times) - 1) >> times);
}

std::vector<PyramidLevel> levels_of(int width, int height) {
    std::vector<PyramidLevel> levels;
    for (int k = 0;; ++k) {
        const int w = shrunk(width, k), h = shrunk(height, k);
        levels.push_back({k, w, h, (w + tile_px - 1) / tile_px, (h + tile_px - 1) / tile_px});
        if (w <= tile_px && h <= tile_px) return levels;
    }
}

// Parts that are read in one go. A strip of a turned lattice would lie aslant over all of the stored frame:
// there, blocks along a diagonal, which share their stored rows.
std::vector<std::vector<PixelBox>> reading_order(const frame::FrameFacts& facts, int top_level) {
    const int width = facts.width_px, height = facts.height_px;
    std::vector<std::vector<PixelBox>> order;
    if (facts.lattice && facts.lattice->turned()) {
        const int columns = shrunk(width, block_level), rows = shrunk(height, block_level);
        for (int sum = 0; sum < columns + rows - 1; ++sum) {
            std::vector<PixelBox> boxes;
            for (int j = std::max(0, sum - columns + 1); j <= std::min(sum, rows - 1); ++j) {
                const PixelBox box =
                    PixelBox{(sum - j) * block_px, j * block_px, block_px, block_px}.inside(width, height);
                if (frame::touches_frame(facts, box)) boxes.push_back(box);
            }
            if (!boxes.empty()) order.push_back(std::move(boxes));
        }
        return order;
    }
    const int step_x = width <= widest_part_px ? std::max(width, 1) : widest_part_px;
    const int unit = 1 << std::min(top_level, block_level);
    const int step_y = unit * std::max(1, static_cast<int>(part_pixels / step_x / unit));
    for (int y = 0; y < height; y += step_y) {
        for (int x = 0; x < width; x += step_x)
            order.push_back({PixelBox{x, y, step_x, std::min(step_y, height - y)}.inside(width, height)});
    }
    return order;
}

// What the pixels of some level add up to, and how many of the frame's they are.
struct Sums {
    int width = 0, height = 0;
    std::vector<float> sum, count;
    Sums() = default;
    Sums(int w, int h)
        : width(w),
          height(h),
          sum(static_cast<std::size_t>(w) * static_cast<std::size_t>(h)),
          count(sum.size()) {}
};

struct Extremes {
    float least = std::numeric_limits<float>::infinity(), most = -std::numeric_limits<float>::infinity();
    void add(float low, float high) {
        least = std::min(least, low);
        most = std::max(most, high);
    }
};

// One pixel of level 1 where one of the frame's is missing: by the edge, or undefined.
void add_defined(const Cutout& part, int x, int y, float& sum, float& count, Extremes& extremes) {
    const auto width = static_cast<std::size_t>(part.box.width);
    for (int v = y; v < std::min(y + 2, part.box.height); ++v) {
        for (int u = x; u < std::min(x + 2, part.box.width); ++u) {
            const float value = part.adu[static_cast<std::size_t>(v) * width + static_cast<std::size_t>(u)];
            if (!std::isfinite(value)) continue;
            sum += value;
            count += 1.0F;
            extremes.add(value, value);
        }
    }
}

Sums halved(const Cutout& part, Extremes& extremes) {
    Sums out(shrunk(part.box.width, 1), shrunk(part.box.height, 1));
    const auto width = static_cast<std::size_t>(part.box.width),
               columns = static_cast<std::size_t>(out.width);
    for (int j = 0; j < out.height; ++j) {
        const float* lower = part.adu.data() + 2 * static_cast<std::size_t>(j) * width;
        const float* upper = 2 * j + 1 < part.box.height ? lower + width : nullptr;
        float* sum = out.sum.data() + static_cast<std::size_t>(j) * columns;
        float* count = out.count.data() + static_cast<std::size_t>(j) * columns;
        const std::size_t whole = upper != nullptr ? width / 2 : 0;
        for (std::size_t i = 0; i < columns; ++i) {
            if (i < whole) {
                const float a = lower[2 * i], b = lower[2 * i + 1], c = upper[2 * i], d = upper[2 * i + 1];
                const float four = (a + b) + (c + d);
                if (std::isfinite(four)) {
                    sum[i] = four;
                    count[i] = 4.0F;
                    extremes.add(std::min(std::min(a, b), std::min(c, d)),
                                 std::max(std::max(a, b), std::max(c, d)));
                    continue;
                }
            }
            add_defined(part, static_cast<int>(2 * i), 2 * j, sum[i], count[i], extremes);
        }
    }
    return out;
}

Sums halved(const Sums& in) {
    Sums out(shrunk(in.width, 1), shrunk(in.height, 1));
    for (int y = 0; y < in.height; ++y) {
        const std::size_t from = static_cast<std::size_t>(y) * static_cast<std::size_t>(in.width);
        const std::size_t to = static_cast<std::size_t>(y / 2) * static_cast<std::size_t>(out.width);
        for (std::size_t x = 0; x < static_cast<std::size_t>(in.width); ++x) {
            out.sum[to + x / 2] += in.sum[from + x];
            out.count[to + x / 2] += in.count[from + x];
        }
    }
    return out;
}

// Everything that one pass over the frame gives.
class Pass {
  public:
    explicit Pass(const std::vector<PyramidLevel>& levels) : levels_(levels), means_(levels.size()) {
        for (std::size_t k = 1; k < levels.size(); ++k)
            means_[k].assign(
                static_cast<std::size_t>(levels[k].width_px) * static_cast<std::size_t>(levels[k].height_px),
                std::numeric_limits<float>::quiet_NaN());
        if (top() > block_level) blocks_ = Sums(levels[block_level].width_px, levels[block_level].height_px);
        const double pixels = double{1.0} * levels.front().width_px * levels.front().height_px;
        every_ = std::max(1, static_cast<int>(std::min(pixels / sample_pixels, 1.0e9)));
    }

    void add(const Cutout& part) {
        take_sample(part);
        Sums sums = halved(part, extremes_);
        for (int k = 1;; ++k) {
            const int x0 = part.box.x0 >> k, y0 = part.box.y0 >> k;
            if (k <= top()) keep(sums, k, x0, y0);
            if (k == block_level && top() > block_level) keep_sums(sums, x0, y0);
            if (k >= std::min(top(), block_level)) return;
            sums = halved(sums);
        }
    }

    // After the last part.
    void finish() {
        Sums sums = std::move(blocks_);
        for (int k = block_level + 1; k <= top(); ++k) {
            sums = halved(sums);
            keep(sums, k, 0, 0);
        }
    }

    [[nodiscard]] const std::vector<double>& sample() const { return sample_; }
    [[nodiscard]] const Extremes& extremes() const { return extremes_; }
    // Of a level, and then they are gone.
    [[nodiscard]] std::vector<float> take_means(std::size_t k) { return std::move(means_[k]); }

  private:
    [[nodiscard]] int top() const { return static_cast<int>(levels_.size()) - 1; }

    // Another column in every row, so that no defect of a column is sampled alone.
    void take_sample(const Cutout& part) {
        for (int y = 0; y < part.box.height; ++y) {
            const auto first = static_cast<int>((part.box.y0 + y) * 7919LL % every_);
            for (int x = first; x < part.box.width; x += every_)
                sample_.push_back(static_cast<double>(part.at(part.box.x0 + x, part.box.y0 + y)));
        }
    }

    void keep(const Sums& sums, int k, int x0, int y0) {
        const auto width = static_cast<std::size_t>(levels_[static_cast<std::size_t>(k)].width_px);
        std::vector<float>& means = means_[static_cast<std::size_t>(k)];
        for (int y = 0; y < sums.height; ++y) {
            const std::size_t from = static_cast<std::size_t>(y) * static_cast<std::size_t>(sums.width);
            const std::size_t to = static_cast<std::size_t>(y0 + y) * width + static_cast<std::size_t>(x0);
            for (std::size_t x = 0; x < static_cast<std::size_t>(sums.width); ++x) {
                if (sums.count[from + x] > 0.0F) means[to + x] = sums.sum[from + x] / sums.count[from + x];
            }
        }
    }

    void keep_sums(const Sums& sums, int x0, int y0) {
        for (int y = 0; y < sums.height; ++y) {
            const auto from = static_cast<std::ptrdiff_t>(y) * sums.width;
            const auto to = static_cast<std::ptrdiff_t>(y0 + y) * blocks_.width + x0;
            std::copy_n(sums.sum.begin() + from, sums.width, blocks_.sum.begin() + to);
            std::copy_n(sums.count.begin() + from, sums.width, blocks_.count.begin() + to);
        }
    }

    const std::vector<PyramidLevel>& levels_;
    std::vector<std::vector<float>> means_;
    Sums blocks_;  // of level 8, where there are levels beyond it
    std::vector<double> sample_;
    Extremes extremes_;
    int every_ = 1;
};

// One part is added up while the next is read.
Result<void> read_through(const frame::Frame& frame, Pass& pass, int top_level) {
    const auto order = reading_order(frame.facts(), top_level);
    const auto read = [&](std::size_t i) {
        return std::async(std::launch::async, [&frame, &order, i] { return frame.read(order[i]); });
    };
    std::future<Result<std::vector<Cutout>>> next;
    if (!order.empty()) next = read(0);
    for (std::size_t i = 0; i < order.size(); ++i) {
        const auto parts = next.get();
        if (!parts) return fail(parts.error());
        if (i + 1 < order.size()) next = read(i + 1);
        for (const Cutout& part : *parts)
            pass.add(part);
    }
    pass.finish();
    return {};
}

Problem no_memory() {
    return {.what = "There is not enough memory to look at the frame.",
            .where = {},
            .mend = "Close other programs, and try again.",
            .kind = ProblemKind::storage};
}

struct Sky {
    double level_adu = 0.0, noise_adu = 1.0;
};

Sky sky_of(const Pass& pass) {
    const numerics::ClippedMean sky = numerics::clipped_mean(pass.sample());
    const double least = static_cast<double>(pass.extremes().least),
                 most = static_cast<double>(pass.extremes().most);
    if (sky.used > 0 && sky.sigma > 0.0) return {sky.mean, sky.sigma};
    // A picture without noise, or one whose sample missed what there is.
    constexpr double sigmas = 1000.0;
    return {sky.used > 0 ? sky.mean : least, most > least ? (most - least) / sigmas : 1.0};
}

}  // namespace

Result<FramePyramid> FramePyramid::of(frame::Frame frame) try {
    const frame::FrameFacts& facts = frame.facts();
    std::vector<PyramidLevel> levels = levels_of(facts.width_px, facts.height_px);
    Pass pass(levels);
    if (auto good = read_through(frame, pass, levels.back().level); !good) return fail(good.error());
    if (!(pass.extremes().least <= pass.extremes().most)) {
        return fail({.what = "No pixel of the frame is defined.",
                     .where = facts.path,
                     .mend = "Save the frame again from its source."});
    }
    const Sky sky = sky_of(pass);
    FramePyramid out(std::move(frame),
                     GreyScale::of(sky.level_adu, sky.noise_adu, static_cast<double>(pass.extremes().least),
                                   static_cast<double>(pass.extremes().most)));
    out.black_adu_ = sky.level_adu - black_sigma * sky.noise_adu;
    const double bright = numerics::quantile(pass.sample(), white_share);
    out.white_adu_ = std::clamp(std::isfinite(bright) ? bright : sky.level_adu,
                                sky.level_adu + least_white_sigma * sky.noise_adu,
                                sky.level_adu + most_white_sigma * sky.noise_adu);
    out.greys_.resize(levels.size());
    for (std::size_t k = 1; k < levels.size(); ++k) {
        const std::vector<float> means = pass.take_means(k);
        out.greys_[k].resize(means.size());
        out.coder_.code(means, out.greys_[k].data());
    }
    out.levels_ = std::move(levels);
    return out;
} catch (const std::exception&) {
    return fail(no_memory());
}

std::size_t FramePyramid::bytes() const {
    std::size_t sum = 0;
    for (const auto& greys : greys_)
        sum += greys.size();
    return sum;
}

Result<GreyPicture> FramePyramid::tile(int level, int column, int row) const try {
    const auto k = static_cast<std::size_t>(level);
    if (level < 0 || k >= levels_.size() || column < 0 || row < 0 || column >= levels_[k].columns ||
        row >= levels_[k].rows) {
        return fail({.what = fmt::format("There is no tile {}/{}/{} of that frame.", level, column, row),
                     .where = frame_.facts().path,
                     .mend = fmt::format("It has levels 0 to {}.", levels_.size() - 1),
                     .kind = ProblemKind::request});
    }
    const PyramidLevel& of = levels_[k];
    const PixelBox box =
        PixelBox{column * tile_px, row * tile_px, tile_px, tile_px}.inside(of.width_px, of.height_px);
    GreyPicture out{box.width, box.height, {}};
    out.grey.resize(box.pixels());
    if (level == 0) {
        if (!frame::touches_frame(frame_.facts(), box)) return out;
        const std::scoped_lock lock(*reading_);
        const auto pixels = frame_.read(box);
        if (!pixels) return fail(pixels.error());
        coder_.code(pixels->adu, out.grey.data());
        return out;
    }
    for (int y = 0; y < box.height; ++y) {
        const std::size_t from =
            static_cast<std::size_t>(box.y0 + y) * static_cast<std::size_t>(of.width_px) +
            static_cast<std::size_t>(box.x0);
        std::copy_n(greys_[k].begin() + static_cast<std::ptrdiff_t>(from), box.width,
                    out.grey.begin() + static_cast<std::ptrdiff_t>(y) * box.width);
    }
    return out;
} catch (const std::bad_alloc&) {
    return fail(no_memory());
}

}  // namespace emberline::picture
