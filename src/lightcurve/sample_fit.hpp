// SPDX-License-Identifier: MIT
// lightcurve/sample_fit — the errors of a fit by other roads than its covariance: a sample of the posterior,
// and the bootstrap.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "lightcurve/fit.hpp"
#include "numerics/ensemble_sampler.hpp"

namespace emberline::lightcurve {

struct SampledFit {
    CurveFit fit;
    numerics::Chain chain;
};
// The fit again, with the covariance of a sample of the posterior and a prediction that draws from it; its
// parameters stay the most probable ones. σ_x and ν are held. A chain that has not converged goes on for
// up to eight times as many steps as asked. Problem: as fit(), or chains that do not converge even so
// (the diagnosis in its words).
[[nodiscard]] Result<SampledFit> sample_fit(const LightCurve& curve, std::shared_ptr<const Model> model,
                                            const CurveFit& fit, const FitOptions& options,
                                            const numerics::SamplerOptions& sampler = {},
                                            std::uint64_t seed = 1);

// Nights drawn with replacement within each series and refitted from the fit's place: what the points' real
// scatter does, whatever their errors say. A night is what lies within half a day. Common errors, offsets of
// series among them, are drawn anew from their own sizes, for resampling cannot see what all points share;
// priors of parameters stay. The spread is widened by √(n / (n − p)) for n nights and p parameters, by which
// resampled residuals fall short.
// Source: pairs bootstrap of Efron & Tibshirani (1993), section 9.5, with nights as what is drawn.
struct Bootstrap {
    numerics::Matrix parameters;  // trials that could be fitted × parameters
    std::vector<ValueWithError>
        errors;  // median and robust spread, one a parameter, epochs in days since the reference
    std::size_t asked = 0;
};
// Problem: as fit(); no more nights than parameters; more than half of the trials without a fit.
[[nodiscard]] Result<Bootstrap> bootstrap(const LightCurve& curve, std::shared_ptr<const Model> model,
                                          const CurveFit& fit, const FitOptions& options,
                                          std::size_t trials = 500, std::uint64_t seed = 1, int threads = 1);

}  // namespace emberline::lightcurve
