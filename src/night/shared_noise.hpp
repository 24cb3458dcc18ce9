// SPDX-License-Identifier: MIT
// night/shared_noise — the noise that bands of one night share because each corrects the other by their
// colour. Private to this room.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "night/measurement.hpp"

namespace emberline::night {

// Of one night's magnitude: band -> d(magnitude) for one sigma of that band's light, its own among them.
using NoiseOfBands = std::map<std::string, double>;

// `noise`: one a night. Each magnitude's noise becomes what it really is after its colour correction, and
// what two bands of a night and instrument share of it moves from their random errors into a component of
// both, "colour noise TB-TG main 2024-02-03". A night of one frame gives its frame the same.
void share_noise(std::vector<NightMeasurement>& nights, const std::vector<NoiseOfBands>& noise,
                 std::vector<FrameMeasurement>& frames);

}  // namespace emberline::night
