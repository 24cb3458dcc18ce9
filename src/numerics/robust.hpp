// SPDX-License-Identifier: MIT
// numerics/robust — centres and spreads that a few bad values cannot move far. Values that are not numbers
// (NaN) are left out by all but weighted_mean.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace emberline::numerics {

// 1 / Φ⁻¹(3/4): a median absolute deviation times this estimates sigma for a Gaussian.
inline constexpr double mad_to_sigma = 1.482602218505602;

[[nodiscard]] double median(std::vector<double> values);              // of a copy; NaN when empty
[[nodiscard]] double quantile(std::vector<double> values, double q);  // linear between order statistics
[[nodiscard]] double median_absolute_deviation(std::span<const double> values, double centre);

struct ClippedMean {
    double mean = 0.0;
    double sigma = 0.0;  // scatter of one value, corrected for what clipping removes from a Gaussian
    std::size_t used = 0;
    std::size_t offered = 0;
};
// Iterated clipping at `low` and `high` sigma until nothing changes: about the median first, then about the
// mean of what is left (the median of integer pixels is an integer too). The scatter is the standard
// deviation of what is left over its expectation for a truncated Gaussian, so that integer pixels (whose MAD
// is a step function) do not bias it. Infinite values are clipped. Nothing finite: used == 0.
[[nodiscard]] ClippedMean clipped_mean(std::span<const double> values, double low = 3.0, double high = 3.0);

struct WeightedMean {
    double mean = 0.0;
    double err = 0.0;  // from the weights alone
    double chi2 = 0.0;
    std::size_t n = 0;
};
// Values must be finite, errors above zero. Lists of different length: the shorter counts.
[[nodiscard]] WeightedMean weighted_mean(std::span<const double> values, std::span<const double> errs);

// Half the distance between the 15.87 and 84.13 per cent quantiles: the robust spread of a sample; NaN
// when empty.
[[nodiscard]] double robust_spread(std::vector<double> values);

}  // namespace emberline::numerics
