// SPDX-License-Identifier: MIT
// tasks/curves_of — from the ledger's measurements to light curves: fluxes on one zero point, common errors
// as vectors over the points.
#pragma once

#include <string>
#include <vector>

#include "lightcurve/light_curve.hpp"
#include "night/measurement.hpp"

namespace emberline::tasks {

// One curve a band. `limit_sigma`: how many sigma their limits are.
[[nodiscard]] std::vector<lightcurve::LightCurve> curves_of(
    const std::vector<night::Measurement>& measurements, double limit_sigma);

// Bands as they were asked for. Problem (request): a name of none.
[[nodiscard]] Result<std::vector<Band>> bands_named(const std::vector<std::string>& names);

}  // namespace emberline::tasks
