// SPDX-License-Identifier: MIT
// numerics/ensemble_sampler — samples of a probability density by an affine-invariant ensemble of walkers
// (Goodman & Weare 2010, Comm. App. Math. Comp. Sci. 5, 65: the stretch move). Two halves of the ensemble
// move in turn, each walker along the line to one of the other half: within a half they know nothing of each
// other, so that threads can share them.
#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "numerics/chain_diagnosis.hpp"
#include "numerics/matrix.hpp"
#include "numerics/random.hpp"
#include "quantities/problem.hpp"

namespace emberline::numerics {

using LogDensity = std::function<double(std::span<const double> parameters)>;  // −infinity where impossible

struct SamplerOptions {
    std::size_t walkers = 0;   // 0: four a parameter, at least 16; always even
    std::size_t steps = 2000;  // a walker, the burn-in included
    std::size_t burn_in = 500;
    // Where the chain has not converged it goes on, twice as long each time with the same share of burn-in,
    // for at most so many steps. 0: no more than `steps`.
    std::size_t most_steps = 0;
    double stretch = 2.0;  // the paper's a, above 1
    int threads = 1;       // the density must be fit to be called by several at once
};

struct Chain {
    Matrix samples;                   // kept samples × parameters, walkers one after the other within a step
    std::vector<double> log_density;  // one a sample
    std::size_t walkers = 0;
    ChainDiagnosis diagnosis;
};

// Walkers start from a Gaussian about `start` with the lower-triangular `spread`, nearer where that is not
// allowed; the same seed gives the same chain whatever the threads. A density that is no number counts as
// impossible. Problem: a start that the density does not allow, a spread of another size or without width in
// some parameter, fewer than two walkers a parameter, a stretch of 1 or less, no step after the burn-in.
[[nodiscard]] Result<Chain> sample_ensemble(const LogDensity& density, const std::vector<double>& start,
                                            const Matrix& spread, Random random,
                                            const SamplerOptions& options = {});

}  // namespace emberline::numerics
