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

// The fit again, its covariance and prediction those of a sample of the posterior. Problem: as fit(), or
// chains that do not converge (the diagnosis in its words).
struct SampledFit {
    CurveFit fit;
    numerics::Chain chain;
};
[[nodiscard]] Result<SampledFit> sample_fit(const LightCurve& curve, std::shared_ptr<const Model> model,
                                            const CurveFit& fit, const FitOptions& options,
                                            const numerics::SamplerOptions& sampler = {},
                                            std::uint64_t seed = 1);

// Nights drawn with replacement within each series and refitted from the fit's place: what the points' real
// scatter does, whatever their errors say. Common errors are drawn anew from their own sizes, for resampling
// cannot see what all points share.
struct Bootstrap {
    numerics::Matrix parameters;  // trials that could be fitted × parameters
    std::vector<ValueWithError>
        errors;  // mean and robust spread, one a parameter, epochs in days since the reference
    std::size_t asked = 0;
};
[[nodiscard]] Result<Bootstrap> bootstrap(const LightCurve& curve, std::shared_ptr<const Model> model,
                                          const CurveFit& fit, const FitOptions& options,
                                          std::size_t trials = 500, std::uint64_t seed = 1, int threads = 1);

}  // namespace emberline::lightcurve
