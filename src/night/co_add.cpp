// SPDX-License-Identifier: MIT
// Notation: s light let through, over the reference's; w weight of a frame; g gain, e/ADU.
#include <algorithm>
#include <cmath>

#include "night/stack_members.hpp"
#include "numerics/robust.hpp"
#include "photometry/resample.hpp"

namespace emberline::night {
namespace {

constexpr int most_strip_rows = 48, least_strip_rows = 8;
constexpr std::size_t most_strip_pixels = 24'000'000;  // of all frames together: memory for them
constexpr double clip_sigma = 5.0;                     // of a pixel, from the middle of the frames
constexpr double beside_sigma = 2.0;                   // of one beside it: what resampling spread
constexpr double least_difference = 0.1;               // of a star's light, beside what the seeing explains
constexpr int most_reach_px = 4;
constexpr double saturated_share = 0.9;  // resampling takes some off a flat top

// A position of the reference on this frame: by both plate solutions, less each one's shift from its stars.
photometry::PixelMapping mapping(const StackFrame& from, const StackFrame& to) {
    return [&from, &to](const frame::PixelPosition& p) -> std::optional<frame::PixelPosition> {
        const auto sky = from.wcs.sky({p.x - from.fluxes.shift_x_px, p.y - from.fluxes.shift_y_px});
        if (!sky) return std::nullopt;
        const auto there = to.wcs.pixel(*sky);
        if (!there) return std::nullopt;
        return frame::PixelPosition{there->x + to.fluxes.shift_x_px, there->y + to.fluxes.shift_y_px};
    };
}

// The part of the frame that those rows of the reference need.
frame::PixelBox reach_of(const frame::PixelBox& strip, const photometry::PixelMapping& map,
                         const frame::FrameFacts& facts) {
    double x0 = std::numeric_limits<double>::infinity(), y0 = x0, x1 = -x0, y1 = -x0;
    for (const auto& corner : photometry::mapped_corners(strip, map)) {
        if (!corner) continue;
        x0 = std::min(x0, corner->x);
        x1 = std::max(x1, corner->x);
        y0 = std::min(y0, corner->y);
        y1 = std::max(y1, corner->y);
    }
    if (!(x1 >= x0)) return {};
    x0 = std::clamp(x0, -4.0, facts.width_px + 4.0);
    x1 = std::clamp(x1, -4.0, facts.width_px + 4.0);
    y0 = std::clamp(y0, -4.0, facts.height_px + 4.0);
    y1 = std::clamp(y1, -4.0, facts.height_px + 4.0);
    const int left = static_cast<int>(std::floor(x0)) - 2, low = static_cast<int>(std::floor(y0)) - 2;
    return frame::PixelBox{left, low, static_cast<int>(std::ceil(x1)) + 3 - left,
                           static_cast<int>(std::ceil(y1)) + 3 - low}
        .inside(facts.width_px, facts.height_px);
}

// One strip of one frame on the grid's pixels, above sky, in the reference's light.
Result<std::vector<float>> brought_over(const StackFrame& m, const StackFrame& reference,
                                        const StackGrid& grid, const frame::PixelBox& strip) {
    std::vector<float> out(strip.pixels(), std::numeric_limits<float>::quiet_NaN());
    const auto from_reference = mapping(reference, m);
    const auto map = [&](const frame::PixelPosition& p) { return from_reference(grid.on_reference(p)); };
    const frame::PixelBox box = reach_of(strip, map, m.frame.facts());
    if (box.empty()) return out;
    auto cutout = m.frame.read(box);
    if (!cutout) return fail(cutout.error());
    if (&m == &reference && !grid.lattice) {
        std::size_t i = 0;
        for (int y = strip.y0; y < strip.y0 + strip.height; ++y) {
            for (int x = strip.x0; x < strip.x0 + strip.width; ++x, ++i) {
                if (cutout->contains(x, y)) out[i] = cutout->at(x, y) - static_cast<float>(m.sky_adu);
            }
        }
        return out;
    }
    for (float& v : cutout->adu)
        v = static_cast<float>((static_cast<double>(v) - m.sky_adu) / m.scale);
    return photometry::resample(*cutout, {}, strip, map).image.adu;
}

// The frames' pixels of some rows, and of those what is left out.
class Strip {
  public:
    Strip(const std::vector<StackFrame>& members, const StackGrid& grid, const frame::PixelBox& box)
        : members_(members), grid_(grid), box_(box) {
        std::vector<double> widths;
        for (const StackFrame& m : members)
            widths.push_back(m.fwhm_arcsec() * m.fwhm_arcsec());
        const double usual = numerics::median(widths);
        for (const StackFrame& m : members) {
            const double wide = m.fwhm_arcsec() * m.fwhm_arcsec();
            allowance_.push_back(least_difference + std::abs(usual / wide - 1.0));
        }
    }

    Result<void> read() {
        for (const StackFrame& m : members_) {
            auto one = brought_over(m, members_.front(), grid_, box_);
            if (!one) return fail(one.error());
            seen_.push_back(std::move(*one));
        }
        find_middle();
        find_brightest_nearby();
        leave_out();
        return {};
    }

    void add_to(CoAdded& out, const frame::PixelBox& rows, bool variance) const {
        double lowest_top = std::numeric_limits<double>::infinity();
        for (const StackFrame& m : members_)
            lowest_top = std::min(lowest_top, m.top_adu);
        const auto first = static_cast<std::size_t>(rows.y0 - box_.y0) * static_cast<std::size_t>(box_.width);
        for (std::size_t i = first; i < first + rows.pixels(); ++i) {
            double sum = 0.0, weight = 0.0, square = 0.0;
            bool saturated = false;
            for (std::size_t m = 0; m < members_.size(); ++m) {
                const auto value = static_cast<double>(seen_[m][i]);
                if (!std::isfinite(value)) continue;
                if (left_out_[m][i]) {
                    ++out.clipped_pixels;
                    continue;
                }
                const double w = members_[m].weight;
                sum += w * value;
                weight += w;
                square += w * w * noise2(m, i);
                saturated = saturated || value >= saturated_share * members_[m].top_adu;
            }
            double mean = weight > 0.0 ? sum / weight : std::numeric_limits<double>::quiet_NaN();
            if (saturated) mean = std::max(mean, lowest_top);
            out.adu.push_back(static_cast<float>(mean));
            if (variance) {
                out.variance_adu2.push_back(weight > 0.0 ? static_cast<float>(square / (weight * weight))
                                                         : std::numeric_limits<float>::quiet_NaN());
            }
        }
    }

  private:
    [[nodiscard]] double noise2(std::size_t m, std::size_t i) const {
        const StackFrame& one = members_[m];
        const double light = std::max(static_cast<double>(middle_[i]), 0.0);
        return grid_.area * std::pow(one.scatter_adu / one.scale, 2) +
               light / (one.fluxes.gain_e_per_adu * one.scale);
    }

    void find_middle() {
        middle_.assign(box_.pixels(), 0.0F);
        std::vector<float> values;
        for (std::size_t i = 0; i < middle_.size(); ++i) {
            values.clear();
            for (const auto& one : seen_) {
                if (std::isfinite(one[i])) values.push_back(one[i]);
            }
            if (values.empty()) continue;
            // Of two, what is too bright in one shows against the other.
            const std::size_t half = (values.size() - 1) / 2;
            const auto at = values.begin() + static_cast<std::ptrdiff_t>(half);
            std::nth_element(values.begin(), at, values.end());
            middle_[i] = *at;
            if (values.size() > 2 && values.size() % 2 == 0)
                middle_[i] = 0.5F * (*at + *std::min_element(at + 1, values.end()));
        }
    }

    // Of the middle, within a star's reach: the wings of stars differ as their cores do.
    void find_brightest_nearby() {
        const StackFrame& reference = members_.front();
        const double fwhm_px = reference.fluxes.fwhm_px / (grid_.lattice ? std::sqrt(grid_.area) : 1.0);
        const int reach = std::clamp(static_cast<int>(std::ceil(0.7 * fwhm_px)), 1, most_reach_px);
        const auto index = [&](int x, int y) {
            return static_cast<std::size_t>(y) * static_cast<std::size_t>(box_.width) +
                   static_cast<std::size_t>(x);
        };
        std::vector<float> along(middle_.size());
        brightest_ = middle_;
        for (int y = 0; y < box_.height; ++y) {
            for (int x = 0; x < box_.width; ++x) {
                float most = 0.0F;
                for (int k = std::max(0, x - reach); k <= std::min(box_.width - 1, x + reach); ++k)
                    most = std::max(most, middle_[index(k, y)]);
                along[index(x, y)] = most;
            }
        }
        for (int y = 0; y < box_.height; ++y) {
            for (int x = 0; x < box_.width; ++x) {
                float most = 0.0F;
                for (int k = std::max(0, y - reach); k <= std::min(box_.height - 1, y + reach); ++k)
                    most = std::max(most, along[index(x, k)]);
                brightest_[index(x, y)] = most;
            }
        }
    }

    [[nodiscard]] bool is_far(std::size_t m, std::size_t i, double sigmas) const {
        const auto value = static_cast<double>(seen_[m][i]);
        if (!std::isfinite(value)) return false;
        return std::abs(value - static_cast<double>(middle_[i])) >
               sigmas * std::sqrt(noise2(m, i)) + allowance_[m] * static_cast<double>(brightest_[i]);
    }

    void leave_out() {
        for (std::size_t m = 0; m < members_.size(); ++m) {
            std::vector<bool> far(middle_.size());
            for (std::size_t i = 0; i < far.size(); ++i)
                far[i] = is_far(m, i, clip_sigma);
            std::vector<bool> all = far;
            for (int y = 0; y < box_.height; ++y) {
                for (int x = 0; x < box_.width; ++x) {
                    const auto i = static_cast<std::size_t>(y) * static_cast<std::size_t>(box_.width) +
                                   static_cast<std::size_t>(x);
                    if (far[i]) spread(m, x, y, all);
                }
            }
            left_out_.push_back(std::move(all));
        }
    }

    void spread(std::size_t m, int x, int y, std::vector<bool>& all) const {
        for (int v = std::max(0, y - 1); v <= std::min(box_.height - 1, y + 1); ++v) {
            for (int u = std::max(0, x - 1); u <= std::min(box_.width - 1, x + 1); ++u) {
                const auto k = static_cast<std::size_t>(v) * static_cast<std::size_t>(box_.width) +
                               static_cast<std::size_t>(u);
                if (is_far(m, k, beside_sigma)) all[k] = true;
            }
        }
    }

    const std::vector<StackFrame>& members_;
    const StackGrid& grid_;
    frame::PixelBox box_;
    std::vector<double> allowance_;  // of each frame: the share of a star's light that it may differ by
    std::vector<std::vector<float>> seen_;
    std::vector<float> middle_, brightest_;
    std::vector<std::vector<bool>> left_out_;
};

}  // namespace

Result<CoAdded> co_add(const std::vector<StackFrame>& members, const StackGrid& grid,
                       const CoAddRequest& request) {
    CoAdded out;
    const std::size_t pixels =
        static_cast<std::size_t>(grid.width_px) * static_cast<std::size_t>(grid.height_px);
    out.adu.reserve(pixels);
    if (request.variance) out.variance_adu2.reserve(pixels);
    const std::size_t a_row = static_cast<std::size_t>(grid.width_px) * members.size();
    const int rows = std::clamp(static_cast<int>(most_strip_pixels / std::max<std::size_t>(1, a_row)),
                                least_strip_rows, most_strip_rows);
    for (int y0 = 0; y0 < grid.height_px; y0 += rows) {
        if (request.stop != nullptr && request.stop->load(std::memory_order_relaxed)) {
            return fail({.what = "Stopped before the stack was whole: nothing was written.",
                         .where = "",
                         .mend = "Run the same command again.",
                         .kind = ProblemKind::interrupted});
        }
        const frame::PixelBox own{0, y0, grid.width_px, std::min(rows, grid.height_px - y0)};
        const frame::PixelBox with_margin =
            frame::PixelBox{0, y0 - most_reach_px, own.width, own.height + 2 * most_reach_px}.inside(
                grid.width_px, grid.height_px);
        Strip strip(members, grid, with_margin);
        if (auto good = strip.read(); !good) return fail(good.error());
        strip.add_to(out, own, request.variance);
        if (request.progress)
            request.progress(static_cast<std::size_t>(y0 + own.height),
                             static_cast<std::size_t>(grid.height_px));
    }
    return out;
}

}  // namespace emberline::night
