// SPDX-License-Identifier: MIT
// photometry/resample — pixels of one image on the grid of another, light conserved: each output pixel is the
// integral over its own outline of the input's light, taken within each input pixel as a tilted plane.
// The plane's slopes (central differences) make the result exact for light that changes linearly and leave
// stars as sharp as they were to second order; with flat pixels each shift would blur by up to a quarter of a
// squared pixel, another amount for every phase.
// Source: Dukowicz & Kodis 1987 (SIAM J. Sci. Stat. Comput. 8, 305); Jones 1999 (Mon. Weather Rev. 127,
// 2204).
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"

namespace emberline::photometry {

using PixelMapping = std::function<std::optional<frame::PixelPosition>(const frame::PixelPosition&)>;

// Where the corners of a box's pixels fall: (width + 1) × (height + 1) of them, row-major; absent where the
// mapping has no answer. A mapping is smooth over a few pixels, so that only every eighth corner is asked
// for and those between follow bilinearly.
[[nodiscard]] std::vector<std::optional<frame::PixelPosition>> mapped_corners(const frame::PixelBox& box,
                                                                              const PixelMapping& mapping);

// The resampling as the linear map that it is: output = Σ share · input.
class ResampleMap {
  public:
    // `defined`: of the input's pixels; empty: all. A pixel's slope is left out beside undefined pixels. An
    // output pixel that lies on an undefined pixel or beyond the input by more than `most_missing` of its
    // area has no row; below that, the rest is scaled up.
    ResampleMap(const frame::PixelBox& input, const std::vector<bool>& defined, const frame::PixelBox& output,
                const PixelMapping& to_input);

    [[nodiscard]] const frame::PixelBox& input() const { return input_; }
    [[nodiscard]] const frame::PixelBox& output() const { return output_; }
    [[nodiscard]] bool defined(std::size_t row) const { return start_[row + 1] > start_[row]; }
    // NaN where not defined.
    [[nodiscard]] std::vector<double> apply(std::span<const double> input) const;
    // Variance of independent input pixels, by the squares of the shares.
    [[nodiscard]] std::vector<double> variance(std::span<const double> input_variance) const;
    // Σ |share| · amount: how far something amiss in the input reaches.
    [[nodiscard]] std::vector<double> reach_of(std::span<const double> amount) const;
    // The weights on input pixels that stand for weights on output pixels.
    [[nodiscard]] std::vector<double> transposed(std::span<const double> output_weights) const;
    // Mean covariance of output pixels `dx`, `dy` apart over that of a pixel with itself, for input pixels of
    // one variance; (2 reach + 1)² values, row-major.
    [[nodiscard]] std::vector<double> correlation(int reach) const;

    static constexpr double most_missing = 1e-3;

  private:
    frame::PixelBox input_, output_;
    std::vector<std::size_t> start_;  // of each row's entries
    std::vector<std::uint32_t> index_;
    std::vector<double> share_;
};

struct Resampled {
    frame::Cutout image;           // same units a pixel area of light: a star keeps its total
    std::vector<double> variance;  // for an input variance of 1 a pixel, where none is given
};
// Undefined where the input is undefined or does not reach.
[[nodiscard]] Resampled resample(const frame::Cutout& input, const std::vector<double>& input_variance,
                                 const frame::PixelBox& output, const PixelMapping& to_input);

}  // namespace emberline::photometry
