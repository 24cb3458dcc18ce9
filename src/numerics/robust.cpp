// SPDX-License-Identifier: MIT
#include "numerics/robust.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <iterator>
#include <limits>
#include <numbers>

namespace emberline::numerics {
namespace {

// Variance of a unit Gaussian cut at −low and +high about its centre, and the mean that the cut leaves.
struct TruncatedGaussian {
    double mean = 0.0, variance = 1.0;
};
TruncatedGaussian truncated(double low, double high) {
    // An infinite cut removes nothing, and infinity times a density of zero must not make a NaN.
    low = std::min(low, 40.0);
    high = std::min(high, 40.0);
    const auto density = [](double x) { return std::exp(-0.5 * x * x) / std::sqrt(2.0 * std::numbers::pi); };
    const auto below = [](double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); };
    const double kept = below(high) - below(-low);
    const double mean = (density(-low) - density(high)) / kept;
    const double second = 1.0 + (-low * density(-low) - high * density(high)) / kept;
    return {mean, second - mean * mean};
}

struct Moments {
    double mean = 0.0, sigma = 0.0;
};
Moments moments_of(std::span<const double> values) {
    const auto n = static_cast<double>(values.size());
    // From the first value on, so that equal values have exactly their mean.
    double mean = 0.0;
    for (const double v : values)
        mean += (v - values.front()) / n;
    mean += values.front();
    double squares = 0.0;
    for (const double v : values)
        squares += (v - mean) * (v - mean);
    return {mean, values.size() > 1 ? std::sqrt(squares / (n - 1.0)) : 0.0};
}

double sorted_quantile(std::span<const double> sorted, double q) {
    if (sorted.empty()) return std::numeric_limits<double>::quiet_NaN();
    const double place = std::clamp(q, 0.0, 1.0) * static_cast<double>(sorted.size() - 1);
    const auto below = static_cast<std::size_t>(place);
    const std::size_t above = std::min(below + 1, sorted.size() - 1);
    const double part = place - static_cast<double>(below);
    // Not a step where part is 0: infinity less infinity is not a number.
    return part > 0.0 ? sorted[below] + part * (sorted[above] - sorted[below]) : sorted[below];
}

// NaN has no place in an order, and std::sort may run out of bounds on it.
void drop_nan(std::vector<double>& values) {
    std::erase_if(values, [](double v) { return std::isnan(v); });
}

// Ascending, by the bytes of the numbers' bits: skies of a thousand pixels and more are sorted star by star,
// and comparing takes several times as long. No NaN.
void sort_ascending(std::vector<double>& values) {
    constexpr std::size_t worth_it = 256, bytes = 8, kinds = 256;
    if (values.size() < worth_it) {
        std::sort(values.begin(), values.end());
        return;
    }
    constexpr std::uint64_t sign = std::uint64_t{1} << 63U;
    std::vector<std::uint64_t> keys, sorted(values.size());
    keys.reserve(values.size());
    std::array<std::array<std::uint32_t, kinds>, bytes> count{};
    for (const double v : values) {
        // Positive numbers ascend as their bits do, negative ones descend.
        const auto bits = std::bit_cast<std::uint64_t>(v);
        keys.push_back((bits & sign) != 0 ? ~bits : bits | sign);
        for (std::size_t b = 0; b < bytes; ++b)
            ++count[b][(keys.back() >> (8 * b)) & 0xffU];
    }
    for (std::size_t b = 0; b < bytes; ++b) {
        if (count[b][(keys.front() >> (8 * b)) & 0xffU] == values.size()) continue;
        std::array<std::uint32_t, kinds> place{};
        for (std::size_t k = 1; k < kinds; ++k)
            place[k] = place[k - 1] + count[b][k - 1];
        for (const std::uint64_t key : keys)
            sorted[place[(key >> (8 * b)) & 0xffU]++] = key;
        keys.swap(sorted);
    }
    for (std::size_t i = 0; i < values.size(); ++i)
        values[i] = std::bit_cast<double>((keys[i] & sign) != 0 ? keys[i] & ~sign : ~keys[i]);
}

constexpr double one_sigma_below = 0.158655253931457;  // Φ(−1)

}  // namespace

double median(std::vector<double> values) {
    drop_nan(values);
    if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
    const std::size_t half = values.size() / 2;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(half);
    std::nth_element(values.begin(), middle, values.end());
    if (values.size() % 2 == 1) return *middle;
    return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

double quantile(std::vector<double> values, double q) {
    drop_nan(values);
    sort_ascending(values);
    return sorted_quantile(values, q);
}

double median_absolute_deviation(std::span<const double> values, double centre) {
    std::vector<double> distances;
    distances.reserve(values.size());
    for (const double v : values)
        distances.push_back(std::abs(v - centre));
    return median(std::move(distances));
}

ClippedMean clipped_mean(std::span<const double> values, double low, double high) {
    ClippedMean out;
    out.offered = values.size();
    const TruncatedGaussian cut = truncated(low, high);
    std::vector<double> kept;
    kept.reserve(values.size());
    std::copy_if(values.begin(), values.end(), std::back_inserter(kept),
                 [](double v) { return std::isfinite(v); });
    if (kept.empty()) return out;
    sort_ascending(kept);
    // The first width comes from quantiles, so that gross outliers are gone before a standard deviation is
    // trusted; after that the corrected standard deviation, which integer pixels do not disturb.
    double centre = sorted_quantile(kept, 0.5);
    double sigma =
        0.5 * (sorted_quantile(kept, 1.0 - one_sigma_below) - sorted_quantile(kept, one_sigma_below));
    if (sigma == 0.0) sigma = moments_of(kept).sigma;
    std::size_t first = 0, last = kept.size();
    constexpr int most_iterations = 50;
    for (int k = 0; k < most_iterations; ++k) {
        const auto begin = std::lower_bound(kept.begin(), kept.end(), centre - low * sigma);
        const auto end = std::upper_bound(kept.begin(), kept.end(), centre + high * sigma);
        const auto new_first = static_cast<std::size_t>(begin - kept.begin());
        const auto new_last = static_cast<std::size_t>(end - kept.begin());
        if (new_last <= new_first) break;
        const bool settled = k > 0 && new_first == first && new_last == last;
        first = new_first;
        last = new_last;
        const Moments m = moments_of(std::span(kept).subspan(first, last - first));
        sigma = m.sigma / std::sqrt(cut.variance);
        centre = m.mean - cut.mean * sigma;
        if (settled || sigma == 0.0) break;
    }
    out.mean = centre;
    out.sigma = sigma;
    out.used = last - first;
    return out;
}

WeightedMean weighted_mean(std::span<const double> values, std::span<const double> errs) {
    WeightedMean out;
    double weights = 0.0, sum = 0.0;
    out.n = std::min(values.size(), errs.size());
    for (std::size_t i = 0; i < out.n; ++i) {
        const double w = 1.0 / (errs[i] * errs[i]);
        weights += w;
        sum += w * values[i];
    }
    if (out.n == 0) return out;
    out.mean = sum / weights;
    out.err = std::sqrt(1.0 / weights);
    for (std::size_t i = 0; i < out.n; ++i) {
        const double pull = (values[i] - out.mean) / errs[i];
        out.chi2 += pull * pull;
    }
    return out;
}

double robust_spread(std::vector<double> values) {
    drop_nan(values);
    sort_ascending(values);
    return 0.5 * (sorted_quantile(values, 1.0 - one_sigma_below) - sorted_quantile(values, one_sigma_below));
}

}  // namespace emberline::numerics
