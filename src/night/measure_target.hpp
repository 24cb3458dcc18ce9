// SPDX-License-Identifier: MIT
// night/measure_target — from a solved band to measurements of the transient. Private to this room.
#pragma once

#include <vector>

#include "night/measurement.hpp"
#include "night/night_colours.hpp"
#include "night/shared_noise.hpp"
#include "night/solve_band.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

struct BandMeasurements {
    std::vector<FrameMeasurement> frames;  // by time, the refused too
    std::vector<NightMeasurement> nights;  // by date
    std::vector<NoiseOfBands> noise;       // one a night
};
[[nodiscard]] BandMeasurements measure_transient(const BandSolution& solution,
                                                 const standard::ComparisonStar* check,
                                                 const TransientColour& colour, double limit_sigma);

}  // namespace emberline::night
