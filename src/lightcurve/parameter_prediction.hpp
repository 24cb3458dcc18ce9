// SPDX-License-Identifier: MIT
// lightcurve/parameter_prediction — of a model with parameters: their best values and their covariance, or a
// sample of them.
#pragma once

#include <memory>
#include <vector>

#include "lightcurve/model.hpp"
#include "lightcurve/prediction.hpp"

namespace emberline::lightcurve {

// Errors by the gradient, draws from a Gaussian within the model's bounds.
[[nodiscard]] std::shared_ptr<const Prediction> parameter_prediction(std::shared_ptr<const Model> model,
                                                                     double reference_bjd_tdb,
                                                                     std::vector<double> parameters,
                                                                     numerics::Matrix covariance);

}  // namespace emberline::lightcurve
