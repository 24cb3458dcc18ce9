// SPDX-License-Identifier: MIT
// lightcurve/noise_search — how much of the scatter is everybody's (σ_x) and how much a few bad points' (the
// tails of Student's t). Needs: likelihood. Feeds: fit.
#pragma once

#include "lightcurve/likelihood.hpp"
#include "lightcurve/student_t.hpp"

namespace emberline::lightcurve {

// A place that the parameters and the noise agree on.
struct Settled {
    Expansion at;
    double restricted = 0.0;            // −2 ln of the restricted likelihood there
    double chi2_without_scatter = 0.0;  // with σ_x at zero
};

struct NoiseOptions {
    bool tails = true;  // Student's t where the points clearly ask for it
    bool scatter = true;
};

// σ_x and ν by restricted maximum likelihood (Patterson & Thompson 1971, Biometrika 58, 545), which knows
// that the parameters were fitted to the same points. Both must earn their place: σ_x by a gain in 2 ln L of
// 2.7, ν by that and by ln n, which is what it costs in the BIC. Problem: no convergence.
[[nodiscard]] Result<Settled> settle_noise(const Likelihood& likelihood, const Place& from,
                                           const NoiseOptions& options);

// rᵀ W r and the squares of priors and common errors, W with the weights of the t.
[[nodiscard]] double chi2_of(const Likelihood& likelihood, const Expansion& at);

// Covariance of all unknowns, and what of it is due to tails.
struct Uncertainty {
    numerics::Matrix covariance;
    TailSpread spread;
};
[[nodiscard]] Result<Uncertainty> uncertainty_at(const Likelihood& likelihood, const Expansion& at);

}  // namespace emberline::lightcurve
