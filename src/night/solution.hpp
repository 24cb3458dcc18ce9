// SPDX-License-Identifier: MIT
// night/solution — everything that one solving of the campaign gave: what the ledger keeps of it.
#pragma once

#include <string>
#include <vector>

#include "night/measurement.hpp"
#include "quantities/band.hpp"

namespace emberline::night {

// What became of one comparison star.
struct StarVerdict {
    std::string instrument;
    Band band;
    std::string label;
    double offset_mag = 0.0, offset_err_mag = 0.0;  // δ: how far from its catalogue magnitude it is
    double scatter_mag = 0.0, expected_scatter_mag = 0.0;
    bool suspect = false;
    std::string why;
    bool operator==(const StarVerdict&) const = default;
};

struct Solution {
    std::vector<FrameMeasurement> frames;  // by time
    std::vector<NightMeasurement> nights;  // by night, then band, then instrument
    std::vector<StarVerdict> stars;
    bool operator==(const Solution&) const = default;
};

}  // namespace emberline::night
