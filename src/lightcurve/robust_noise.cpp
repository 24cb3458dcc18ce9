// SPDX-License-Identifier: MIT
// Notation: z residual over its error; s robust spread of z; D, V diagonal and columns of C; N normal matrix.
// Source: restricted likelihood, Patterson & Thompson 1971, Biometrika 58, 545.
#include "lightcurve/robust_noise.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

// r − V ĉ with the most probable common errors ĉ is D C⁻¹ r; D is what the covariance holds, weights
// included.
std::vector<double> standardised_residuals(const Expansion& at, const std::vector<double>& weights) {
    std::vector<double> z = at.covariance.solve(at.residuals);
    for (std::size_t i = 0; i < z.size(); ++i)
        z[i] *= std::sqrt(at.plain_variances[i]) / weights[i];
    return z;
}

// −2 ln of the restricted likelihood at this σ_x, with the parameters moved to their best by one linear step.
Result<double> restricted(const Likelihood& likelihood, const std::vector<double>& parameters,
                          const Noise& noise) {
    const auto at = likelihood.expand(parameters, noise);
    if (!at) return fail(at.error());
    const auto inverse = inverse_normal(at->normal);
    if (!inverse) return fail(inverse.error());
    const numerics::Matrix lower = numerics::cholesky_lower(at->normal);
    double log_normal = 0.0;
    for (std::size_t j = 0; j < lower.rows(); ++j)
        log_normal += 2.0 * std::log(lower(j, j));
    return at->chi2 + at->censored - numerics::quadratic_form(*inverse, at->downhill, at->downhill) +
           at->covariance.log_determinant() + log_normal;
}

}  // namespace

std::vector<double> robust_weights(const Expansion& at, const std::vector<double>& weights, bool gently) {
    std::vector<double> z = standardised_residuals(at, weights);
    for (double& value : z)
        value = std::abs(value);
    const double spread = std::max(1.0, numerics::mad_to_sigma * numerics::median(z));
    std::vector<double> next(z.size(), 1.0);
    for (std::size_t i = 0; i < z.size(); ++i) {
        const double inside = outlier_sigma * spread / z[i];
        if (inside < 1.0) next[i] = std::max(gently ? inside : std::pow(inside, 4), least_weight);
    }
    return next;
}

Result<double> find_extra_scatter(const Likelihood& likelihood, const std::vector<double>& parameters,
                                  Noise noise, double least_gain) {
    // In ln σ_x from a tenth of a millimagnitude, far below any error in this trade, to a factor of six in
    // flux.
    constexpr double smallest_mag = 1e-4, largest_mag = 2.0;
    constexpr int coarse_steps = 12, fine_steps = 16;
    const auto value_at = [&](double scatter_mag) {
        noise.extra_scatter_mag = scatter_mag;
        return restricted(likelihood, parameters, noise);
    };
    const auto without = value_at(0.0);
    if (!without) return without;
    const double step = std::log(largest_mag / smallest_mag) / coarse_steps;
    double best = 0.0, best_value = *without, best_log = 0.0;
    const auto try_at = [&](double log_scatter) -> Result<double> {
        const auto value = value_at(std::exp(log_scatter));
        if (value && *value < best_value) {
            best = std::exp(log_scatter);
            best_log = log_scatter;
            best_value = *value;
        }
        return value;
    };
    for (int i = 0; i <= coarse_steps; ++i) {
        if (const auto value = try_at(std::log(smallest_mag) + i * step); !value) return value;
    }
    if (best == 0.0) return 0.0;
    // Golden section between the neighbours of the best coarse step.
    constexpr double golden = 0.6180339887498949;
    double low = best_log - step, high = best_log + step;
    double left = high - golden * (high - low), right = low + golden * (high - low);
    auto at_left = try_at(left), at_right = try_at(right);
    for (int i = 0; i < fine_steps; ++i) {
        if (!at_left) return at_left;
        if (!at_right) return at_right;
        if (*at_left < *at_right) {
            high = right;
            right = left;
            at_right = at_left;
            left = high - golden * (high - low);
            at_left = try_at(left);
        } else {
            low = left;
            left = right;
            at_left = at_right;
            right = low + golden * (high - low);
            at_right = try_at(right);
        }
    }
    return *without - best_value > least_gain ? best : 0.0;
}

}  // namespace emberline::lightcurve
