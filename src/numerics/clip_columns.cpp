// SPDX-License-Identifier: MIT
// Notation: t typical σ; δ how far the median may lie from the mean for the short way.
#include "numerics/clip_columns.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <numbers>

#include "numerics/robust.hpp"

namespace emberline::numerics {
namespace {

constexpr std::size_t most_rounds = 20;
constexpr std::size_t least_kept = 2;

// Reorders.
double median_of(std::span<double> values) {
    const std::size_t half = values.size() / 2;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(half);
    std::nth_element(values.begin(), middle, values.end());
    if (values.size() % 2 == 1) return *middle;
    return 0.5 * (*std::max_element(values.begin(), middle) + *middle);
}

double scatter_about(double centre, std::span<const double> values) {
    thread_local std::vector<double> distances;
    distances.clear();
    std::transform(values.begin(), values.end(), std::back_inserter(distances),
                   [&](double v) { return std::abs(v - centre); });
    return mad_to_sigma * small_sample_factor(values.size()) * median_of(distances);
}

// Of a unit Gaussian's variance, what a cut at ±κ leaves.
double variance_left(double kappa) {
    const double density = std::exp(-0.5 * kappa * kappa) / std::sqrt(2.0 * std::numbers::pi);
    return 1.0 - 2.0 * kappa * density / std::erf(kappa / std::numbers::sqrt2);
}

ClippedColumn moments_of(std::span<const double> values, double kappa) {
    ClippedColumn out;
    out.used = values.size();
    const double first = values.front();
    double sum = 0.0, squares = 0.0;
    for (const double v : values)
        sum += v - first;
    const double mean = sum / static_cast<double>(values.size());
    for (const double v : values)
        squares += (v - first - mean) * (v - first - mean);
    out.mean = first + mean;
    if (values.size() > 1)
        out.variance = squares / (static_cast<double>(values.size()) - 1.0) / variance_left(kappa);
    return out;
}

ClippedColumn of_two(double a, double b, double typical, double kappa) {
    const std::array<double, 2> both{a, b};
    const bool apart = typical > 0.0 && std::abs(a - b) > kappa * typical * std::numbers::sqrt2;
    return apart ? ClippedColumn{std::min(a, b), 0.0, 1} : moments_of(both, kappa);
}

// Columns at a time: a hundred rows of them fit a processor's nearest cache.
constexpr std::size_t lanes = 64;

// Sums and extremes of one stretch of columns, about the first row.
struct Stretch {
    std::array<float, lanes> sum, squares, least, most;
    std::array<std::int32_t, lanes> above, below;
    std::array<float, lanes> high, low;
};

// Twice the values at a time where the processor has the registers for it.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define EMBERLINE_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define EMBERLINE_WIDE
#endif

EMBERLINE_WIDE void take_sums(std::span<const float* const> rows, std::size_t from, Stretch& s) {
    const float* const reference = rows.front() + from;
    // Here and not in `s`, so that a compiler sees that no row is written to.
    std::array<float, lanes> sum{}, squares{}, least{}, most{};
    for (const float* row : rows.subspan(1)) {
        const float* const values = row + from;
        for (std::size_t i = 0; i < lanes; ++i) {
            const float d = values[i] - reference[i];
            sum[i] += d;
            squares[i] += d * d;
            least[i] = d < least[i] ? d : least[i];
            most[i] = d > most[i] ? d : most[i];
        }
    }
    s.sum = sum;
    s.squares = squares;
    s.least = least;
    s.most = most;
}

EMBERLINE_WIDE void count_beyond(std::span<const float* const> rows, std::size_t from, Stretch& s) {
    const float* const reference = rows.front() + from;
    s.above.fill(0);
    s.below.fill(0);
    for (const float* row : rows) {
        const float* const values = row + from;
        for (std::size_t i = 0; i < lanes; ++i) {
            const float d = values[i] - reference[i];
            s.above[i] += d > s.high[i] ? 1 : 0;
            s.below[i] += d < s.low[i] ? 1 : 0;
        }
    }
}

struct Combining {
    std::span<const float* const> rows;
    const ColumnClip& clip;
    double left;  // variance_left(κ)
    ClippedRow& out;
    std::vector<double> column;

    void put(std::size_t at, const ClippedColumn& c) const {
        out.mean[at] = static_cast<float>(c.mean);
        out.variance[at] = static_cast<float>(c.variance);
        out.used[at] = static_cast<std::uint16_t>(c.used);
    }
    void one(std::size_t at) {
        column.clear();
        for (const float* row : rows)
            column.push_back(static_cast<double>(row[at]));
        put(at, clip_column(column, clip.typical[at & 1U], clip.kappa));
    }
    // True where it was settled without the median: fewer than half of the values lie above mean + δ, and
    // fewer than half below mean − δ, so that the median lies between; and no value is farther than κt
    // from any place there. σ ≥ t, so that nothing would be cut.
    [[nodiscard]] bool settle(const Stretch& s, std::size_t i, std::size_t at, double delta) const {
        const auto n = static_cast<double>(rows.size());
        const double t = clip.typical[at & 1U];
        const double mean = static_cast<double>(s.sum[i]) / n, squares = static_cast<double>(s.squares[i]);
        const double least = static_cast<double>(s.least[i]), most = static_cast<double>(s.most[i]);
        const double reference = static_cast<double>(rows.front()[at]);
        // A value that is not finite makes these comparisons false.
        const bool even = most == 0.0 && least == 0.0 && squares == 0.0;
        const bool inside = most - (mean - delta * t) <= clip.kappa * t &&
                            mean + delta * t - least <= clip.kappa * t &&
                            2 * s.above[i] < static_cast<std::int32_t>(rows.size()) &&
                            2 * s.below[i] < static_cast<std::int32_t>(rows.size());
        if (!std::isfinite(squares) || !(even || inside)) return false;
        const double variance = std::max(0.0, squares - n * mean * mean) / (n - 1.0) / left;
        put(at, {reference + mean, variance, rows.size()});
        return true;
    }
    void stretch(std::size_t from, double delta) {
        Stretch s;
        take_sums(rows, from, s);
        for (std::size_t i = 0; i < lanes; ++i) {
            const double t = clip.typical[(from + i) & 1U];
            const double mean = static_cast<double>(s.sum[i]) / static_cast<double>(rows.size());
            s.high[i] = static_cast<float>(mean + delta * t);
            s.low[i] = static_cast<float>(mean - delta * t);
        }
        count_beyond(rows, from, s);
        for (std::size_t i = 0; i < lanes; ++i) {
            if (!settle(s, i, from + i, delta)) one(from + i);
        }
    }
};

}  // namespace

double small_sample_factor(std::size_t n) {
    constexpr std::array factors{1.0, 1.0, 1.196, 1.495, 1.363, 1.206, 1.200, 1.140, 1.129, 1.107};
    if (n < factors.size()) return factors[n];
    return static_cast<double>(n) / (static_cast<double>(n) - 0.8);
}

ClippedColumn clip_column(std::span<double> values, double typical, double kappa) {
    const auto end = std::remove_if(values.begin(), values.end(), [](double v) { return !std::isfinite(v); });
    std::span<double> kept = values.first(static_cast<std::size_t>(end - values.begin()));
    if (kept.empty()) return {std::numeric_limits<double>::quiet_NaN(), 0.0, 0};
    if (kept.size() == 1) return {kept.front(), 0.0, 1};
    if (kept.size() == 2) return of_two(kept[0], kept[1], typical, kappa);
    for (std::size_t round = 0; round < most_rounds && kept.size() > least_kept; ++round) {
        const double centre = median_of(kept);
        const auto beyond = [&](double reach) {
            return std::any_of(kept.begin(), kept.end(),
                               [&](double v) { return std::abs(v - centre) > reach; });
        };
        // σ is the usual scatter at least: what lies within κ of it stays, whatever the column's own says.
        if (!beyond(kappa * typical)) break;
        const double reach = kappa * std::max(typical, scatter_about(centre, kept));
        const auto cut =
            std::partition(kept.begin(), kept.end(), [&](double v) { return std::abs(v - centre) <= reach; });
        const auto n = static_cast<std::size_t>(cut - kept.begin());
        if (n == kept.size() || n < least_kept) break;
        kept = kept.first(n);
    }
    return moments_of(kept, kappa);
}

void clip_columns(std::span<const float* const> rows, std::size_t width, const ColumnClip& clip,
                  ClippedRow& out) {
    out.mean.resize(width);
    out.variance.resize(width);
    out.used.resize(width);
    Combining all{rows, clip, variance_left(clip.kappa), out, {}};
    const auto n = static_cast<double>(rows.size());
    // The median of n Gaussian values lies 1.25 σ/√n from their mean, once in three: twice that is allowed.
    const double delta = std::min(1.2, 2.5 / std::sqrt(n));
    std::size_t at = 0;
    if (rows.size() > 2) {
        for (; at + lanes <= width; at += lanes)
            all.stretch(at, delta);
    }
    for (; at < width; ++at)
        all.one(at);
}

}  // namespace emberline::numerics
