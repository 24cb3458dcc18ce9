// SPDX-License-Identifier: MIT
// lightcurve/posterior — −2 ln of likelihood × priors at any parameters, with the noise that a fit found: for
// sampling and for profiles. Unlike within a step of fit(), the covariance follows the parameters.
#pragma once

#include <memory>
#include <span>

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

class Posterior {
  public:
    // For the points, the interval and the noise (σ_x, ν) of that fit; the curve must be the one it was made
    // of, and outlive nothing: what is needed is copied. Problem: as fit().
    static Result<Posterior> make(const LightCurve& curve, std::shared_ptr<const Model> model,
                                  const CurveFit& fit, const FitOptions& options);
    // Infinite where the model does not allow those values.
    [[nodiscard]] double minus_two_log(std::span<const double> parameters) const;

  private:
    struct Impl;
    explicit Posterior(std::shared_ptr<const Impl> impl);
    std::shared_ptr<const Impl> impl_;
};

}  // namespace emberline::lightcurve
