// SPDX-License-Identifier: MIT
// night/measure_target — from a solved band to measurements of the transient. Private to this room.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "night/measurement.hpp"
#include "night/solve_band.hpp"
#include "quantities/value_with_error.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// The transient's colour in the band's index: one value, or one a night where two bands tell it.
struct TransientColour {
    std::string index;             // "B-V"
    std::optional<double> always;  // from the settings
    std::map<std::string, ValueWithError> of_night;
    [[nodiscard]] std::optional<ValueWithError> on(const std::string& night) const;
};

// The night's magnitude on the band's natural system, before any colour term: zero point of the mean minus
// 2.5 log10 flux; absent below `limit_sigma`. The first step towards a colour.
[[nodiscard]] std::map<std::string, ValueWithError> natural_magnitudes(const BandSolution& solution,
                                                                       double limit_sigma);

struct BandMeasurements {
    std::vector<FrameMeasurement> frames;  // by time, the refused too
    std::vector<NightMeasurement> nights;  // by date
};
[[nodiscard]] BandMeasurements measure_transient(const BandSolution& solution,
                                                 const standard::ComparisonStar* check,
                                                 const TransientColour& colour, double limit_sigma);

}  // namespace emberline::night
