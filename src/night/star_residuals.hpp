// SPDX-License-Identifier: MIT
// night/star_residuals — how far each star of the sequence came out from its catalogue magnitude on one
// night, reckoned from what the ledger keeps. Needs: fluxes, the campaign's solution, the sequence.  Feeds:
// the night's sheet. Notation: r = z + T (C − C_t) − 2.5 log10 F − M, z the frame's zero point for the
// transient, T the colour term, C and C_t the colours of star and transient (where that was not known, the
// mean of the stars), M the catalogue's magnitude.
#pragma once

#include <string>
#include <vector>

#include "night/solution.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/value_with_error.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

struct StarResidual {
    std::string label;
    ValueWithError catalogue_mag;
    double measured_mag = 0.0, residual_mag = 0.0;  // residual: measured − catalogue
    double err_mag = 0.0;  // of the residual, from the frames' noise, widened where they scatter more
    int frames = 0;
};

// In the sequence's order; stars that no used frame measured are left out. `of`: one of the solution's
// nights. Where a star's light is lost in a frame (saturated, cut), that frame does not count for it.
[[nodiscard]] std::vector<StarResidual> night_residuals(const std::vector<photometry::FrameFluxes>& frames,
                                                        const Solution& solution,
                                                        const standard::Sequence& sequence,
                                                        const NightMeasurement& of);

}  // namespace emberline::night
