// SPDX-License-Identifier: MIT
// standard/catalogue_prior — what the sequence says of its stars before any frame is looked at: how far each
// lies from the mean colour, and where and how wide the core of its offset's prior is.
#pragma once

#include <vector>

#include "standard/zero_points.hpp"

namespace emberline::standard {

struct CataloguePrior {
    double mean_colour_mag = 0.0, colour_low_mag = 0.0, colour_high_mag = 0.0;
    bool fit_colour_term = false;
    // One a star. Distances are those of the expected true colour; without a colour term all are 0.
    std::vector<double> colour_distance_mag;
    std::vector<double> offset_mean_mag, offset_variance_mag2;
};

// Regression calibration of magnitudes and colours that share the catalogue's errors: see zero_points.hpp.
[[nodiscard]] CataloguePrior catalogue_prior(const SolveInput& input);

}  // namespace emberline::standard
