// SPDX-License-Identifier: MIT
// lightcurve/colour_curve — two bands as a colour against time.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/light_curve.hpp"

namespace emberline::lightcurve {

struct ColourPoint {
    double bjd_tdb = 0.0;
    double mag = 0.0;
    double random_err_mag = 0.0;
    double common_err_mag = 0.0;    // what both bands share cancels: components of one name are differenced
    std::size_t blue = 0, red = 0;  // the points it is made of
};

struct ColourCurve {
    ColourIndex index;
    std::vector<ColourPoint> points;
    double reddening_mag = 0.0;  // already taken off: (A_blue − A_red) for the E(B−V) given
    std::string note;            // Vega or AB, and what the reddening is
};

// Detections of one series within `within_d` of each other, each used once, nearest first. Problem: no two.
[[nodiscard]] Result<ColourCurve> colour_curve(const LightCurve& blue, const LightCurve& red,
                                               double within_d = 0.5, double ebv_mag = 0.0);

// The colour indices worth drawing of those bands: neighbours in wavelength of one magnitude system.
[[nodiscard]] std::vector<ColourIndex> usual_colours(const std::vector<Band>& bands);

}  // namespace emberline::lightcurve
