// SPDX-License-Identifier: MIT
// standard/transformation — what an instrument does to colours and the air to light: the colour term and the
// first-order extinction of one band, from frames of many stars with known magnitudes.
// The stars are solved for as in zero_points, with a colour term of which nothing is known before; notation
// as there. Stars that follow the relation less closely than their catalogue errors say (spectra differ at
// one colour) widen these errors until they agree, so that the term's error is what the stars really allow.
// The extinction is a line through a night's zero points against airmass, z_f − 2.5 log10(t_f) = z − k X_f.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"
#include "standard/zero_points.hpp"

namespace emberline::standard {

inline constexpr std::size_t least_transformation_stars = 5;
inline constexpr double least_colour_span_mag = 0.3;
inline constexpr std::size_t least_extinction_frames = 4;
inline constexpr double least_airmass_span = 0.3;

// One frame's zero point of one second at its airmass.
struct AirPoint {
    double airmass = 1.0;
    double zero_point_mag = 0.0;
    double err_mag = 0.0;  // random
};
struct ExtinctionLine {
    ValueWithError extinction;  // k, mag per airmass
    double outside_mag = 0.0;   // zero point at airmass 0
    double scatter_mag = 0.0;   // beyond the points' errors: the air's unrest
    double airmass_low = 0.0, airmass_high = 0.0;
    std::size_t frames = 0;  // that the line stands on
    std::vector<bool> used;  // one a point; false: cloud, or another mistake
};
// Cloud takes light and never gives any: points far below the line are left out, and a few far above it.
// Points within one night. The error follows the points' scatter; a transparency that drifts as the airmass
// changes cannot be told from extinction, by this or any other means.
// Problem (input): fewer than four points, airmasses that span less than 0.3, or most points under cloud.
[[nodiscard]] Result<ExtinctionLine> fit_extinction(const std::vector<AirPoint>& points);

struct FrameAir {
    std::string night;
    std::optional<double> airmass;  // where the zero point counts: X_f
    double exposure_s = 1.0;
};

struct TransformationInput {
    SolveInput solve;           // its colour-term prior is not used
    std::vector<FrameAir> air;  // one a frame
};

struct StarOnRelation {
    std::string label;
    std::optional<double> colour_mag;
    double departure_mag = 0.0;  // M − (m + z): T (C − C̄) and what the star departs from it by
    double err_mag = 0.0;        // catalogue's, the relation's own scatter and noise
    std::size_t frames = 0;
    bool used = true;
    std::string why;  // one sentence where not
};

struct NightExtinction {
    std::string night;
    ExtinctionLine line;
};

struct Transformation {
    std::optional<ValueWithError> colour_term;  // T
    std::string no_colour_term;                 // why not, one sentence
    std::optional<ValueWithError> extinction;   // of one night, or the mean of several
    std::string no_extinction;
    std::vector<NightExtinction> nights;
    double mean_colour_mag = 0.0, colour_low_mag = 0.0, colour_high_mag = 0.0;  // of the stars in use
    double airmass_low = 0.0, airmass_high = 0.0;
    double scatter_mag = 0.0;       // robust, of the stars about the relation
    double star_scatter_mag = 0.0;  // of it, what catalogue errors and noise do not explain
    std::size_t stars = 0, frames = 0;
    // dT/dX where the data ask for one: four sigma and more. It is told and not applied.
    std::optional<ValueWithError> second_order;
    std::vector<StarOnRelation> relation;  // one a star that was measured
};

// Problem: as solve_zero_points; one night's frames or many.
[[nodiscard]] Result<Transformation> find_transformation(const TransformationInput& input);

}  // namespace emberline::standard
