// SPDX-License-Identifier: MIT
// numerics/clip_columns — the mean of a few to many values of the same thing, of which some are spoilt: one
// pixel in many frames.
// Estimator: values farther than κσ from the median of what is kept are left out, until nothing changes;
// their plain mean is the answer. σ is the larger of what is usual (`typical`, from many columns together)
// and of b_n × 1.4826 × MAD of the column itself. With few values a column's own scatter says little and is
// often far too small by chance; the usual scatter keeps good values from being cut, the column's own keeps
// a noisy pixel's. Of two values no column scatter can tell which is wrong: where they lie more than κσ√2
// apart, the lower is kept, as particles and stars only add light. At least two of three or more are kept.
// Bias: a symmetric cut leaves the mean of a symmetric distribution where it was, for any n. Of the variance
// a Gaussian loses 0.1 % at κ = 4, which is given back. A hit that escapes, below κσ, moves the mean of n
// values by κσ/n at most.
// Source: b_n from Croux & Rousseeuw (1992), Computational Statistics 1, 411 (from memory; checked by trial).
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace emberline::numerics {

struct ColumnClip {
    double kappa = 4.0;
    std::array<double, 2> typical{0.0, 0.0};  // σ of one value, in even and odd columns; 0: not known
};

struct ClippedColumn {
    double mean = 0.0;      // NaN where nothing is finite
    double variance = 0.0;  // of one value, of what is kept; 0 for fewer than two
    std::size_t used = 0;
    bool operator==(const ClippedColumn&) const = default;
};

// What b_n × 1.4826 × MAD needs to be right on average for n Gaussian values; n ≥ 2.
[[nodiscard]] double small_sample_factor(std::size_t n);

// The definition. Values that are not finite are left out. `values` is used up.
[[nodiscard]] ClippedColumn clip_column(std::span<double> values, double typical, double kappa);

struct ClippedRow {  // one entry a column
    std::vector<float> mean, variance;
    std::vector<std::uint16_t> used;
};

// The same for each column of `rows` (each `width` long) at once: where bounds on the median show that
// nothing would be cut, which is nearly everywhere, without looking for the median.
void clip_columns(std::span<const float* const> rows, std::size_t width, const ColumnClip& clip,
                  ClippedRow& out);

}  // namespace emberline::numerics
