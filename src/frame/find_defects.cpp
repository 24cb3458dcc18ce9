// SPDX-License-Identifier: MIT
#include "frame/find_defects.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "frame/frame_rows.hpp"
#include "numerics/robust.hpp"
#include "numerics/share_out.hpp"

namespace emberline::frame {
namespace {

constexpr int block_px = 64;
constexpr int reach_px = 4;  // of the neighbours: every second pixel to either side
constexpr double hot_sigma = 6.0, hot_noise = 3.0;
constexpr double least_response = 0.5, most_response = 1.5;
constexpr double worth_a_look = 0.3;  // relative to the block: neighbours decide
constexpr double unstable_ratio = 3.0;
constexpr std::size_t least_frames = 5, least_cuts = 3;
constexpr double cut_share = 0.1;

struct Band {
    int y = 0, rows = 0;          // what is judged
    int first = 0, all_rows = 0;  // what was read, with neighbours
    std::vector<float> mean, variance, used;
};

struct Level {
    double middle = 0.0, spread = 0.0;
};

class Finder {
  public:
    Finder(const RowWriter& master, const MasterNoise& noise) : master_(master), noise_(noise) {}

    Result<std::vector<Defect>> run() {
        const int height = master_.height_px();
        for (band_.y = 0; band_.y < height; band_.y += block_px) {
            if (auto good = read_band(); !good) return fail(good.error());
            const int blocks = (master_.width_px() + block_px - 1) / block_px;
            std::vector<std::vector<Defect>> found(static_cast<std::size_t>(blocks));
            numerics::share_out(found.size(), noise_.threads,
                                [&](std::size_t b) { judge_block(static_cast<int>(b), found[b]); });
            const std::size_t before = all_.size();
            for (const auto& some : found)
                all_.insert(all_.end(), some.begin(), some.end());
            std::sort(
                all_.begin() + static_cast<std::ptrdiff_t>(before), all_.end(),
                [](const Defect& a, const Defect& b) { return std::pair(a.y, a.x) < std::pair(b.y, b.x); });
        }
        return std::move(all_);
    }

  private:
    [[nodiscard]] std::size_t width() const { return static_cast<std::size_t>(master_.width_px()); }

    Result<void> read_band() {
        const int height = master_.height_px();
        band_.rows = std::min(block_px, height - band_.y);
        band_.first = std::max(0, band_.y - reach_px);
        band_.all_rows = std::min(height, band_.y + band_.rows + reach_px) - band_.first;
        band_.mean.resize(static_cast<std::size_t>(band_.all_rows) * width());
        band_.variance.resize(static_cast<std::size_t>(band_.rows) * width());
        band_.used.resize(band_.variance.size());
        if (auto good = master_.read(0, band_.first, band_.mean); !good) return good;
        if (auto good = master_.read(1, band_.y, band_.variance); !good) return good;
        return master_.read(2, band_.y, band_.used);
    }

    [[nodiscard]] double mean_at(int x, int y) const {
        return static_cast<double>(
            band_.mean[static_cast<std::size_t>(y - band_.first) * width() + static_cast<std::size_t>(x)]);
    }

    [[nodiscard]] Level level_of(int x0, int x1, int phase) const {
        std::vector<double> values;
        // Half of the rows are enough for a middle and a spread.
        for (int y = band_.y; y < band_.y + band_.rows; ++y) {
            if ((y & 1) != phase >> 1 || ((y & 2) != 0 && band_.rows > 8)) continue;
            for (int x = x0; x < x1; ++x) {
                if ((x & 1) == (phase & 1)) values.push_back(mean_at(x, y));
            }
        }
        Level level;
        level.middle = numerics::median(values);
        level.spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(values, level.middle);
        return level;
    }

    // Of the 24 neighbours of the same colour; absent where there are hardly any.
    [[nodiscard]] double neighbours(int x, int y, double otherwise) const {
        std::vector<double> values;
        for (int dy = -reach_px; dy <= reach_px; dy += 2) {
            for (int dx = -reach_px; dx <= reach_px; dx += 2) {
                const int i = x + dx, j = y + dy;
                const bool there = i >= 0 && i < master_.width_px() && j >= band_.first &&
                                   j < band_.first + band_.all_rows && (dx != 0 || dy != 0);
                if (there && std::isfinite(mean_at(i, j))) values.push_back(mean_at(i, j));
            }
        }
        return values.size() < 3 ? otherwise : numerics::median(std::move(values));
    }

    void judge_block(int block, std::vector<Defect>& found) const {
        const int x0 = block * block_px, x1 = std::min(master_.width_px(), x0 + block_px);
        std::array<Level, 4> levels;
        for (int phase = 0; phase < 4; ++phase)
            levels[static_cast<std::size_t>(phase)] = level_of(x0, x1, phase);
        for (int y = band_.y; y < band_.y + band_.rows; ++y) {
            for (int x = x0; x < x1; ++x) {
                const auto phase = phase_of(x, y);
                const int bits = noise_.kind == FrameKind::flat ? judge_flat(x, y, levels[phase])
                                                                : judge_dark(x, y, levels[phase], phase);
                if (bits != 0) found.push_back({x, y, bits});
            }
        }
    }

    [[nodiscard]] int judge_flat(int x, int y, const Level& level) const {
        const double v = mean_at(x, y);
        if (!std::isfinite(v)) return defect_dead;
        if (std::abs(v - level.middle) <= worth_a_look * level.middle) return 0;
        const double around = neighbours(x, y, level.middle);
        return v < least_response * around || v > most_response * around ? defect_dead : 0;
    }

    [[nodiscard]] int judge_dark(int x, int y, const Level& level, std::size_t phase) const {
        const double v = mean_at(x, y);
        if (!std::isfinite(v)) return defect_dead;
        int bits = 0;
        const double typical = noise_.typical_adu[phase], gain = noise_.gain_e_per_adu;
        // Shot noise of E ADU of dark current is √(E/g) ADU, and outgrows σ at E = σ² g.
        const double limit =
            std::max({hot_sigma * level.spread, typical * typical * gain, hot_noise * typical});
        if (noise_.kind == FrameKind::dark && v - level.middle > limit &&
            v - neighbours(x, y, level.middle) > limit)
            bits |= defect_hot;
        if (unstable(x, y, v - level.middle, typical)) bits |= defect_unstable;
        return bits;
    }

    [[nodiscard]] bool unstable(int x, int y, double excess_adu, double typical) const {
        if (noise_.frames < least_frames) return false;
        const std::size_t at = static_cast<std::size_t>(y - band_.y) * width() + static_cast<std::size_t>(x);
        const auto n = static_cast<double>(noise_.frames), used = static_cast<double>(band_.used[at]);
        if (n - used >= std::max(static_cast<double>(least_cuts), cut_share * n)) return true;
        const double limit = unstable_ratio * unstable_ratio;
        if (band_.variance[at] * band_.used[at] <= static_cast<float>(typical * typical)) return false;
        // The scatter of its own values, out of what it was filled up with.
        const double filled = std::max(0.0, frames_of_own_scatter - used), freedom = used - 1.0;
        if (freedom < 1.0) return false;
        const double one = static_cast<double>(band_.variance[at]) * used;
        const double own = (one * (filled + freedom) - filled * typical * typical) / freedom;
        const double expected = typical * typical + std::max(0.0, excess_adu) / noise_.gain_e_per_adu;
        return own > limit * expected;
    }

    const RowWriter& master_;
    const MasterNoise& noise_;
    Band band_;
    std::vector<Defect> all_;
};

}  // namespace

Result<std::vector<Defect>> find_defects(const RowWriter& master, const MasterNoise& noise) {
    return Finder(master, noise).run();
}

}  // namespace emberline::frame
