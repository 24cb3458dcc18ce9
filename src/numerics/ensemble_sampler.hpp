// SPDX-License-Identifier: MIT
// numerics/ensemble_sampler — samples of a probability density by an affine-invariant ensemble of walkers
// (Goodman & Weare 2010, Comm. App. Math. Comp. Sci. 5, 65: the stretch move).
#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "numerics/matrix.hpp"
#include "numerics/random.hpp"
#include "quantities/problem.hpp"

namespace emberline::numerics {

using LogDensity = std::function<double(std::span<const double> parameters)>;  // −infinity where impossible

struct SamplerOptions {
    std::size_t walkers = 0;   // 0: four a parameter, at least 16, even
    std::size_t steps = 2000;  // a walker, the burn-in included
    std::size_t burn_in = 500;
    double stretch = 2.0;
    int threads = 1;
};

struct ChainDiagnosis {
    double acceptance = 0.0;                    // share of moves taken; 0.2 to 0.5 is healthy
    std::vector<double> autocorrelation_steps;  // integrated, one a parameter (Sokal's window)
    std::vector<double> effective_samples;
    std::vector<double> split_r_hat;  // Gelman et al. 2013; below 1.01 is converged
    bool converged = false;
    std::string summary;  // "converged: 4100 independent samples, R̂ 1.002"
};

struct Chain {
    Matrix samples;                   // kept samples × parameters, walkers one after the other within a step
    std::vector<double> log_density;  // one a sample
    ChainDiagnosis diagnosis;
};

// Walkers start from a Gaussian about `start` with the lower-triangular `spread`; the same seed gives the
// same chain whatever the threads. Problem: a start that the density does not allow, fewer than two walkers a
// parameter.
[[nodiscard]] Result<Chain> sample_ensemble(const LogDensity& density, const std::vector<double>& start,
                                            const Matrix& spread, Random random,
                                            const SamplerOptions& options = {});

}  // namespace emberline::numerics
