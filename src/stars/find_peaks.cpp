// SPDX-License-Identifier: MIT
// Notation: k the filter, a Gaussian of the stars' width; Σk² of it; s scatter of a pixel.
#include "stars/find_peaks.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

#include "numerics/gaussian.hpp"
#include "numerics/robust.hpp"
#include "numerics/share_out.hpp"

namespace emberline::stars {
namespace {

constexpr int strip_rows = 256;
constexpr std::size_t noise_step = 241;  // every so many-th filtered pixel tells the noise; no power of two
constexpr double most_noise_factor = 20.0;

// Of unit sum, one axis; symmetric, from the middle outwards.
std::vector<float> half_gaussian(double sigma_px) {
    const int reach = std::max(1, static_cast<int>(std::ceil(2.5 * sigma_px)));
    std::vector<float> half;
    double sum = 0.0;
    for (int i = 0; i <= reach; ++i) {
        const double value = std::exp(-0.5 * i * i / (sigma_px * sigma_px));
        half.push_back(static_cast<float>(value));
        sum += i == 0 ? value : 2.0 * value;
    }
    for (float& v : half)
        v = static_cast<float>(static_cast<double>(v) / sum);
    return half;
}

double sum_of_squares(const std::vector<float>& half) {
    double sum = 0.0;
    for (std::size_t i = 0; i < half.size(); ++i)
        sum += (i == 0 ? 1.0 : 2.0) * static_cast<double>(half[i]) * static_cast<double>(half[i]);
    return sum;
}

// One strip's work, of which every row is done once.
class Strip {
  public:
    Strip(const Background& background, const PeakSettings& settings, double saturation_adu)
        : background_(background),
          settings_(settings),
          saturation_(static_cast<float>(saturation_adu)),
          half_(half_gaussian(settings.fwhm_px / numerics::fwhm_per_sigma / settings.binning)) {
        // A sum of b × b pixels scatters by b s, and its filtered value by √Σk² of that, in each axis.
        noise_ = static_cast<float>(settings.binning * sum_of_squares(half_));
    }

    struct Found {
        std::vector<Peak> peaks;
        std::vector<double> noise;
        std::size_t defined = 0, saturated = 0;
        float least = std::numeric_limits<float>::infinity();
        float most = -std::numeric_limits<float>::infinity();
    };

    // Rows y0 … y1 − 1 of the source, in whole bins.
    Result<Found> search(const PixelSource& source, int y0, int y1) {
        const int b = settings_.binning;
        const frame::PixelBox& all = source.box();
        const int margin = b * static_cast<int>(half_.size());
        const int low = std::max(all.y0, y0 - margin), high = std::min(all.y0 + all.height, y1 + margin);
        auto read = source.read({{all.x0, low, all.width, high - low}});
        if (!read) return fail(read.error());
        const frame::Cutout& pixels = read->front();
        Found found;
        look_at_pixels(pixels, y0 - low, y1 - low, found);
        width_ = all.width / b;
        height_ = (high - low) / b;
        if (width_ < 3 || height_ < 3) return found;
        above_sky(pixels);
        filter();
        const int first = (y0 - low) / b, last = std::min((y1 - low + b - 1) / b, height_);
        take_peaks(all, low, first, last, found);
        return found;
    }

  private:
    void look_at_pixels(const frame::Cutout& pixels, int first, int last, Found& found) const {
        const auto width = static_cast<std::size_t>(pixels.box.width);
        for (int j = first; j < last; ++j)
            look_at_row(pixels.adu.data() + static_cast<std::size_t>(j) * width, width, found);
    }

    void look_at_row(const float* adu, std::size_t n, Found& found) const {
        std::uint32_t defined = 0, saturated = 0;
        for (std::size_t i = 0; i < n; ++i) {
            defined += adu[i] == adu[i] ? 1U : 0U;
            saturated += adu[i] >= saturation_ ? 1U : 0U;
        }
        found.defined += defined;
        found.saturated += saturated;
        // Side by side in lanes, which a compiler makes one wide register of: in a single chain each would
        // wait for the one before.
        constexpr std::size_t lanes = 8;
        std::array<float, lanes> least{}, most{};
        least.fill(found.least);
        most.fill(found.most);
        const auto look = [&](float v, std::size_t k) {
            least[k] = v < least[k] ? v : least[k];
            most[k] = v > most[k] ? v : most[k];
        };
        const std::size_t whole = n - n % lanes;
        for (std::size_t i = 0; i < whole; i += lanes) {
            for (std::size_t k = 0; k < lanes; ++k)
                look(adu[i + k], k);
        }
        for (std::size_t i = whole; i < n; ++i)
            look(adu[i], 0);
        for (std::size_t k = 0; k < lanes; ++k) {
            found.least = std::min(found.least, least[k]);
            found.most = std::max(found.most, most[k]);
        }
    }

    // Sums of b × b pixels above the background, in scatters of the place; undefined pixels are sky.
    void above_sky(const frame::Cutout& pixels) {
        const int b = settings_.binning;
        const auto n = static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_);
        light_.resize(n);
        std::vector<float> level(static_cast<std::size_t>(width_)), scatter(level.size());
        const double middle = 0.5 * (b - 1);
        for (int j = 0; j < height_; ++j) {
            background_.row(pixels.box.y0 + b * j + middle, pixels.box.x0 + middle, b, width_, level.data(),
                            scatter.data());
            const float* row =
                &pixels.adu[static_cast<std::size_t>(b * j) * static_cast<std::size_t>(pixels.box.width)];
            float* out = &light_[static_cast<std::size_t>(j) * static_cast<std::size_t>(width_)];
            if (b == 1) {
                for (int i = 0; i < width_; ++i)
                    out[i] =
                        (row[i] - level[static_cast<std::size_t>(i)]) / scatter[static_cast<std::size_t>(i)];
            } else {
                const float* next = row + pixels.box.width;
                for (int i = 0; i < width_; ++i) {
                    const float sum = row[2 * i] + row[2 * i + 1] + next[2 * i] + next[2 * i + 1];
                    out[i] = (sum - 4.0F * level[static_cast<std::size_t>(i)]) /
                             scatter[static_cast<std::size_t>(i)];
                }
            }
            for (int i = 0; i < width_; ++i)
                out[i] = out[i] == out[i] ? out[i] : 0.0F;
        }
    }

    // Rows, then columns: k(x, y) = k(x) k(y).
    void filter() {
        const int reach = static_cast<int>(half_.size()) - 1;
        const auto width = static_cast<std::size_t>(width_);
        filtered_.resize(light_.size());
        std::vector<float> padded(width + 2 * static_cast<std::size_t>(reach), 0.0F);
        for (int j = 0; j < height_; ++j) {
            float* row = &light_[static_cast<std::size_t>(j) * width];
            std::copy(row, row + width_, padded.begin() + reach);
            const float* middle = padded.data() + reach;
            for (int i = 0; i < width_; ++i)
                row[i] = half_[0] * middle[i];
            for (int k = 1; k <= reach; ++k) {
                const float weight = half_[static_cast<std::size_t>(k)];
                for (int i = 0; i < width_; ++i)
                    row[i] += weight * (middle[i - k] + middle[i + k]);
            }
        }
        for (int j = 0; j < height_; ++j) {
            float* out = &filtered_[static_cast<std::size_t>(j) * width];
            const float* row = &light_[static_cast<std::size_t>(j) * width];
            for (int i = 0; i < width_; ++i)
                out[i] = half_[0] * row[i];
            for (int k = 1; k <= reach; ++k) {
                const float weight = half_[static_cast<std::size_t>(k)];
                const float* above = j - k >= 0 ? row - static_cast<std::ptrdiff_t>(k) * width_ : nullptr;
                const float* below =
                    j + k < height_ ? row + static_cast<std::ptrdiff_t>(k) * width_ : nullptr;
                if (above != nullptr && below != nullptr) {
                    for (int i = 0; i < width_; ++i)
                        out[i] += weight * (above[i] + below[i]);
                } else if (above != nullptr || below != nullptr) {
                    const float* only = above != nullptr ? above : below;
                    for (int i = 0; i < width_; ++i)
                        out[i] += weight * only[i];
                }
            }
        }
    }

    static constexpr int passed = 32;
    static bool all_below(const float* values, float threshold) {
        std::uint32_t reaching = 0;
        for (int k = 0; k < passed; ++k)
            reaching += values[k] >= threshold ? 1U : 0U;
        return reaching == 0;
    }

    // The first of equal neighbours is the peak, so that a flat top has one.
    void take_peaks(const frame::PixelBox& all, int low, int first, int last, Found& found) const {
        const auto threshold = static_cast<float>(settings_.threshold_sigma) * noise_;
        const double middle = 0.5 * (settings_.binning - 1);
        const auto width = static_cast<std::size_t>(width_);
        for (int j = first; j < last; ++j) {
            const float* row = &filtered_[static_cast<std::size_t>(j) * width];
            for (std::size_t i = static_cast<std::size_t>(j) % noise_step; i < width; i += noise_step)
                found.noise.push_back(static_cast<double>(row[i] / noise_));
            const float* above = j > 0 ? row - width_ : nullptr;
            const float* below = j + 1 < height_ ? row + width_ : nullptr;
            for (int i = 0; i < width_; ++i) {
                // Most of the sky lies below: many pixels are passed at a time.
                if (i % passed == 0 && i + passed <= width_ && all_below(row + i, threshold)) {
                    i += passed - 1;
                    continue;
                }
                const float v = row[i];
                // Of sums beyond what a float holds there is no number, and that is no peak.
                if (!(v >= threshold)) continue;
                if (i > 0 && row[i - 1] >= v) continue;
                if (i + 1 < width_ && row[i + 1] > v) continue;
                const auto tops = [&](const float* other, bool earlier) {
                    if (other == nullptr) return true;
                    for (int k = std::max(0, i - 1); k <= std::min(width_ - 1, i + 1); ++k) {
                        if (earlier ? other[k] >= v : other[k] > v) return false;
                    }
                    return true;
                };
                if (!tops(above, true) || !tops(below, false)) continue;
                found.peaks.push_back(
                    {{all.x0 + settings_.binning * i + middle, low + settings_.binning * j + middle},
                     v / noise_});
            }
        }
    }

    const Background& background_;
    const PeakSettings& settings_;
    float saturation_;
    std::vector<float> half_;
    float noise_ = 1.0F;
    int width_ = 0, height_ = 0;
    std::vector<float> light_, filtered_;
};

}  // namespace

Result<PeakField> find_peaks(const PixelSource& source, const Background& background,
                             const PeakSettings& settings, double saturation_adu) {
    const frame::PixelBox& box = source.box();
    const auto strips = static_cast<std::size_t>((box.height + strip_rows - 1) / strip_rows);
    std::vector<Result<Strip::Found>> results(strips);
    numerics::share_out(strips, settings.threads, [&](std::size_t s) {
        const int y0 = box.y0 + static_cast<int>(s) * strip_rows;
        results[s] = Strip(background, settings, saturation_adu)
                         .search(source, y0, std::min(y0 + strip_rows, box.y0 + box.height));
    });
    PeakField field;
    std::vector<double> noise;
    std::size_t defined = 0, saturated = 0;
    float least = std::numeric_limits<float>::infinity(), most = -least;
    for (Result<Strip::Found>& result : results) {
        if (!result) return fail(result.error());
        field.peaks.insert(field.peaks.end(), result->peaks.begin(), result->peaks.end());
        noise.insert(noise.end(), result->noise.begin(), result->noise.end());
        defined += result->defined;
        saturated += result->saturated;
        least = std::min(least, result->least);
        most = std::max(most, result->most);
    }
    field.varies = most > least;
    if (defined > 0) field.saturated_share = static_cast<double>(saturated) / static_cast<double>(defined);
    if (noise.size() > 100) {
        const double factor = numerics::clipped_mean(noise, 3.0, 2.0).sigma;
        if (std::isfinite(factor)) field.noise_factor = std::clamp(factor, 1.0, most_noise_factor);
    }
    return field;
}

}  // namespace emberline::stars
