// SPDX-License-Identifier: MIT
// lightcurve/refit — the likelihood that a fit stands on, made again from its curve: for what looks beyond
// the best place. Needs: fit, likelihood.  Feeds: posterior, profile.
#pragma once

#include "lightcurve/fit.hpp"
#include "lightcurve/likelihood.hpp"

namespace emberline::lightcurve {

struct Refit {
    Likelihood likelihood;
    Noise noise;  // as the fit found it
    Place place;
};

// The model must outlive it. Problem: a curve, a model or options that are not those of the fit; as fit().
[[nodiscard]] Result<Refit> refit(const LightCurve& curve, const Model& model, const CurveFit& fit,
                                  const FitOptions& options);

}  // namespace emberline::lightcurve
