// SPDX-License-Identifier: MIT
// numerics/chain_diagnosis — whether a Markov chain has said what it is asked: how many independent samples
// it is worth, and whether its parts agree. Sources: integrated autocorrelation time with the window of Sokal
// (1997), averaged over the walkers as Goodman & Weare (2010) do; split R̂ of Gelman et al. (2013),
// equations 11.1 to 11.4.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "numerics/matrix.hpp"

namespace emberline::numerics {

struct Autocorrelation {
    double steps = 0.0;     // 1 + 2 Σ ρ(k); 1 for independent values
    bool resolved = false;  // the window closed within half of the chain
};
// Of one quantity: walkers × steps. Deviations count from the mean of all, so that walkers that stay apart
// are a correlation without end. Values that never change: as many steps as there are, not resolved.
[[nodiscard]] Autocorrelation integrated_autocorrelation(const Matrix& chains);

// Each walker's chain in two halves, against each other. Infinite where the halves stand still at different
// values; 1 where all values are the same.
[[nodiscard]] double split_r_hat(const Matrix& chains);

// Converged chains have at least so many autocorrelation times, so many independent samples of each parameter
// (its error is then known to 4 %) and an R̂ not above the book's bound. Chains of 20 autocorrelation times
// that are as good as can be come to an R̂ of 1.05. The first two: common practice, no source.
inline constexpr double least_chain_lengths = 20.0;
inline constexpr double least_effective_samples = 400.0;
inline constexpr double most_split_r_hat = 1.1;

struct ChainDiagnosis {
    double acceptance = 0.0;                    // share of moves taken; 0.2 to 0.5 is healthy
    std::vector<double> autocorrelation_steps;  // integrated, one a parameter (Sokal's window)
    std::vector<double> effective_samples;      // of all walkers together
    std::vector<double> split_r_hat;
    bool converged = false;
    std::string summary;  // "converged: 4100 independent samples, R̂ 1.002"
};
// Samples × parameters, the walkers one after the other within a step.
[[nodiscard]] ChainDiagnosis diagnose_chain(const Matrix& samples, std::size_t walkers, double acceptance);

}  // namespace emberline::numerics
