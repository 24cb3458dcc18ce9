// SPDX-License-Identifier: MIT
#include "lightcurve/start_grid.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/matrix.hpp"

namespace emberline::lightcurve {
namespace {

// No model of a supernova is better than this, and no start needs to be.
constexpr double model_err_mag = 0.03;

// Least absolute residuals by iterated weights (Schlossmacher 1973, JASA 68, 857).
StartTrial solve_linear(std::span<const Sample> samples, const numerics::Matrix& values,
                        std::span<const Prior> priors) {
    constexpr int rounds = 8;
    constexpr double least_residual = 0.3;  // in errors: below it weights stop growing
    const std::size_t n = samples.size(), k = priors.size();
    std::vector<double> weights(n, 1.0), residuals(n);
    StartTrial trial;
    for (int round = 0; round < rounds; ++round) {
        numerics::Matrix normal(k, k);
        std::vector<double> right(k);
        for (std::size_t j = 0; j < k; ++j) {
            const double w = 1.0 / (priors[j].sigma * priors[j].sigma);
            normal(j, j) = w;
            right[j] = w * priors[j].mean;
        }
        for (std::size_t i = 0; i < n; ++i) {
            const double err = std::hypot(samples[i].err_mag, model_err_mag), w = weights[i] / (err * err);
            for (std::size_t a = 0; a < k; ++a) {
                right[a] += w * values(i, a) * samples[i].mag;
                for (std::size_t b = 0; b < k; ++b)
                    normal(a, b) += w * values(i, a) * values(i, b);
            }
        }
        trial.linear = numerics::solve_cholesky(numerics::cholesky_lower(normal), right);
        trial.misfit = 0.0;
        for (std::size_t j = 0; j < k; ++j) {
            const double off = (trial.linear[j] - priors[j].mean) / priors[j].sigma;
            trial.misfit += 0.5 * off * off;
        }
        for (std::size_t i = 0; i < n; ++i) {
            double model = 0.0;
            for (std::size_t j = 0; j < k; ++j)
                model += values(i, j) * trial.linear[j];
            const double z = std::abs(samples[i].mag - model) / std::hypot(samples[i].err_mag, model_err_mag);
            trial.misfit += z;
            weights[i] = 1.0 / std::max(z, least_residual);
        }
    }
    return trial;
}

}  // namespace

std::vector<StartTrial> grid_starts(std::span<const Sample> samples, const Basis& basis,
                                    std::span<const Prior> priors,
                                    const std::vector<std::vector<double>>& shapes) {
    std::vector<StartTrial> trials;
    std::vector<double> row(priors.size());
    for (const std::vector<double>& shape : shapes) {
        numerics::Matrix values(samples.size(), priors.size());
        for (std::size_t i = 0; i < samples.size(); ++i) {
            basis(samples[i].days, shape, row);
            for (std::size_t j = 0; j < row.size(); ++j)
                values(i, j) = row[j];
        }
        StartTrial trial = solve_linear(samples, values, priors);
        if (!std::isfinite(trial.misfit)) continue;
        trial.shape = shape;
        trials.push_back(std::move(trial));
    }
    std::stable_sort(trials.begin(), trials.end(),
                     [](const StartTrial& a, const StartTrial& b) { return a.misfit < b.misfit; });
    return trials;
}

std::vector<StartTrial> distinct_starts(const std::vector<StartTrial>& trials, std::span<const double> apart,
                                        std::size_t count) {
    std::vector<StartTrial> kept;
    for (const StartTrial& trial : trials) {
        if (kept.size() == count) break;
        const bool known = std::any_of(kept.begin(), kept.end(), [&](const StartTrial& k) {
            for (std::size_t j = 0; j < apart.size(); ++j) {
                if (std::abs(trial.shape[j] - k.shape[j]) >= apart[j]) return false;
            }
            return true;
        });
        if (!known) kept.push_back(trial);
    }
    return kept;
}

std::vector<double> evenly(double from, double to, std::size_t count) {
    std::vector<double> values;
    for (std::size_t i = 0; i < count; ++i)
        values.push_back(from + (to - from) * static_cast<double>(i) / static_cast<double>(count - 1));
    return values;
}

}  // namespace emberline::lightcurve
