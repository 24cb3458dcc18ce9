// SPDX-License-Identifier: MIT
// Notation: r residual about its group's median, v its variance from the noise, e² variance beyond.
#include "standard/group_scatter.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::standard {
namespace {

constexpr double median_of_chi2_1 = 0.4549364231195728;

// Rearranges the values, so that nothing is allocated in the solver's loops.
double median_in_place(std::vector<double>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    if (values.size() % 2 == 1) return *middle;
    return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

}  // namespace

GroupedResiduals::GroupedResiduals(std::span<const std::size_t> group_of, const std::vector<bool>& used,
                                   std::size_t groups)
    : first_(groups + 1, 0), scatters_(groups) {
    for (std::size_t i = 0; i < group_of.size(); ++i)
        first_[group_of[i] + 1] += used[i] ? 1 : 0;
    for (std::size_t g = 0; g < groups; ++g) {
        scatters_[g].members = first_[g + 1];
        first_[g + 1] += first_[g];
    }
    order_.resize(first_[groups]);
    squares_.resize(order_.size());
    variances_.resize(order_.size());
    std::vector<std::size_t> next(first_.begin(), first_.end() - 1);
    for (std::size_t i = 0; i < group_of.size(); ++i) {
        if (used[i]) order_[next[group_of[i]]++] = i;
    }
}

void GroupedResiduals::update(const std::vector<double>& residuals, const std::vector<double>& variances) {
    for (std::size_t g = 0; g < scatters_.size(); ++g) {
        const std::size_t begin = first_[g], end = first_[g + 1];
        if (begin == end) continue;
        scratch_.clear();
        for (std::size_t k = begin; k < end; ++k)
            scratch_.push_back(residuals[order_[k]]);
        const double centre = median_in_place(scratch_);
        for (std::size_t k = begin; k < end; ++k) {
            squares_[k] = (residuals[order_[k]] - centre) * (residuals[order_[k]] - centre);
            variances_[k] = variances[order_[k]];
        }
        const auto from = [](const std::vector<double>& all, std::size_t at) {
            return all.begin() + static_cast<std::ptrdiff_t>(at);
        };
        scratch_.assign(from(squares_, begin), from(squares_, end));
        scatters_[g].measured_mag = numerics::mad_to_sigma * std::sqrt(median_in_place(scratch_));
        scratch_.assign(from(variances_, begin), from(variances_, end));
        scatters_[g].noise_mag = std::sqrt(median_in_place(scratch_));
    }
}

bool GroupedResiduals::exceeds(std::size_t group, double variance_mag2) {
    scratch_.clear();
    for (std::size_t k = first_[group]; k < first_[group + 1]; ++k)
        scratch_.push_back(squares_[k] / (variances_[k] + variance_mag2));
    return scratch_.size() > 1 && median_in_place(scratch_) > median_of_chi2_1;
}

double GroupedResiduals::beyond_mag2(std::size_t group) {
    if (!exceeds(group, 0.0)) return 0.0;
    // With e² the whole measured variance the median of r²/(v + e²) is at most a Gaussian's.
    double low = 0.0, high = scatters_[group].measured_mag * scatters_[group].measured_mag;
    constexpr int halvings = 10;
    for (int k = 0; k < halvings; ++k) {
        const double half = 0.5 * (low + high);
        (exceeds(group, half) ? low : high) = half;
    }
    return high;
}

}  // namespace emberline::standard
