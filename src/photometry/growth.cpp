// SPDX-License-Identifier: MIT
// Notation: f one star's fraction of its light at a radius, e its relative error, s the stars' robust
// scatter.
#include "photometry/growth.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::photometry {

namespace {

constexpr double outlier_sigma = 4.0;  // a neighbour under the aperture, a cosmic ray
constexpr double flat_minimum = 1.02;  // errors this close to the least count as equal

struct FractionMean {
    double mean = 0.0, err = 0.0;
};

FractionMean mean_fraction(const std::vector<double>& f, const std::vector<double>& relative_err) {
    if (f.size() == 1) return {f[0], std::abs(f[0]) * relative_err[0]};
    const double centre = numerics::median(f);
    const double s = numerics::mad_to_sigma * numerics::median_absolute_deviation(f, centre);
    double weights = 0.0, sum = 0.0;
    std::vector<double> weight(f.size(), 0.0);
    std::size_t used = 0;
    for (std::size_t i = 0; i < f.size(); ++i) {
        const double e = centre * relative_err[i];
        const double variance = s * s + e * e;
        if (std::abs(f[i] - centre) > outlier_sigma * std::sqrt(variance)) continue;
        weight[i] = 1.0 / std::max(variance, std::numeric_limits<double>::min());
        weights += weight[i];
        sum += weight[i] * f[i];
        ++used;
    }
    if (used < 2) return {centre, s};
    const double mean = sum / weights;
    double squares = 0.0;
    for (std::size_t i = 0; i < f.size(); ++i) {
        const double part = weight[i] / weights * (f[i] - mean);
        squares += part * part;
    }
    const double n = static_cast<double>(used);
    return {mean, std::sqrt(squares * n / (n - 1.0))};
}

// Relative error of the magnitude, squared. Without a flux above zero the background alone decides.
double error_squared(const ApertureCandidate& c, double total_flux_e) {
    if (!(c.enclosed > 0.0)) return std::numeric_limits<double>::infinity();
    if (!(total_flux_e > 0.0)) return c.background_e2 / (c.enclosed * c.enclosed);
    const double flux_e = total_flux_e * c.enclosed;
    const double zero_point = c.zero_point_err_mag / mag_per_relative_flux;
    return (flux_e + c.background_e2) / (flux_e * flux_e) + zero_point * zero_point;
}

}  // namespace

GrowthCurve growth_curve(const std::vector<std::vector<double>>& stars,
                         const std::vector<double>& last_flux_err) {
    std::vector<const std::vector<double>*> used;
    std::vector<double> relative_err;
    for (std::size_t i = 0; i < std::min(stars.size(), last_flux_err.size()); ++i) {
        const std::vector<double>& flux = stars[i];
        const bool finite = std::all_of(flux.begin(), flux.end(), [](double v) { return std::isfinite(v); });
        if (flux.empty() || !finite || flux.back() <= 0.0 || flux.size() != stars[0].size()) continue;
        if (!std::isfinite(last_flux_err[i]) || last_flux_err[i] <= 0.0) continue;
        used.push_back(&flux);
        relative_err.push_back(last_flux_err[i] / flux.back());
    }
    GrowthCurve curve;
    if (used.empty()) return curve;
    curve.stars = used.size();
    const std::size_t radii = used[0]->size();
    for (std::size_t k = 0; k + 1 < radii; ++k) {
        std::vector<double> f;
        for (const std::vector<double>* flux : used)
            f.push_back((*flux)[k] / flux->back());
        const FractionMean m = mean_fraction(f, relative_err);
        curve.fraction.push_back(m.mean);
        curve.fraction_err.push_back(m.err);
    }
    curve.fraction.push_back(1.0);
    curve.fraction_err.push_back(0.0);
    return curve;
}

std::size_t best_aperture(std::span<const ApertureCandidate> candidates, double total_flux_e) {
    std::vector<double> error;
    for (const ApertureCandidate& c : candidates) {
        const double squared = error_squared(c, total_flux_e);
        error.push_back(std::isnan(squared) ? std::numeric_limits<double>::infinity()
                                            : c.scatter_ratio * std::sqrt(squared));
    }
    if (error.empty()) return 0;
    const double least = *std::min_element(error.begin(), error.end());
    std::size_t best = 0;
    for (std::size_t k = 0; k < error.size(); ++k) {
        if (error[k] <= flat_minimum * least) best = k;
    }
    return best;
}

}  // namespace emberline::photometry
