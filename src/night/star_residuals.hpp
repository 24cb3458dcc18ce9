// SPDX-License-Identifier: MIT
// night/star_residuals — how far each star of the sequence came out from its catalogue magnitude on one
// night or frame, reckoned from what the ledger keeps. Needs: fluxes, the campaign's solution, the sequence.
// Feeds: the night's sheet, the stars' course. Notation: r = z + T (C − C_t) − 2.5 log10 F − M, z the frame's
// zero point for the transient, T the colour term, C and C_t the colours of star and transient (where that
// was not known, the mean of the stars), M the catalogue's magnitude.
#pragma once

#include <string>
#include <vector>

#include "night/solution.hpp"
#include "photometry/frame_record.hpp"
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

// One star in one frame, on the frame's own zero point; the error is the star's noise there alone, since what
// the zero point is wrong by is the same for all stars of the frame.
struct FrameResidual {
    std::string label;
    double residual_mag = 0.0, err_mag = 0.0;
};
// In the sequence's order; a star whose light is lost there (saturated, cut), or too faint to have any, is
// left out. Nothing of a frame that was refused before it had a zero point.
[[nodiscard]] std::vector<FrameResidual> frame_residuals(const photometry::FrameFluxes& fluxes,
                                                         const FrameMeasurement& measured,
                                                         const standard::Sequence& sequence);

// Of one star's frames, weighted by their noise; the error widened where they scatter more. Not empty.
struct MeanResidual {
    double residual_mag = 0.0, err_mag = 0.0;
    int frames = 0;
};
[[nodiscard]] MeanResidual mean_residual(const std::vector<double>& residuals_mag,
                                         const std::vector<double>& errs_mag);

// In the sequence's order; stars that no used frame measured are left out. `of`: one of the solution's
// nights. Where a star's light is lost in a frame (saturated, cut), that frame does not count for it.
[[nodiscard]] std::vector<StarResidual> night_residuals(const std::vector<photometry::FrameFluxes>& frames,
                                                        const Solution& solution,
                                                        const standard::Sequence& sequence,
                                                        const NightMeasurement& of);

}  // namespace emberline::night
