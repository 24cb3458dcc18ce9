// SPDX-License-Identifier: MIT
// lightcurve/colour_curve — two bands as a colour against time.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/light_curve.hpp"

namespace emberline::lightcurve {

struct ColourPoint {
    double bjd_tdb = 0.0;  // midway between the two
    double mag = 0.0;
    double random_err_mag = 0.0;
    double common_err_mag = 0.0;    // what both bands share cancels: components of one name are differenced
    std::size_t blue = 0, red = 0;  // the points it is made of
};

struct ColourCurve {
    ColourIndex index;
    std::vector<ColourPoint> points;  // ascending in time
    double reddening_mag = 0.0;       // already taken off: (A_blue − A_red) for the E(B−V) given
    std::string note;                 // Vega or AB, and what the reddening is
};

// Detections of one series (by its name) within `within_d` of each other, each used once, nearest first. The
// fading between the two is not allowed for: 0.05 mag for half a day of a type Ia at its fastest. Problem: no
// two, or a reddening that is negative or no number.
[[nodiscard]] Result<ColourCurve> colour_curve(const LightCurve& blue, const LightCurve& red,
                                               double within_d = 0.5, double ebv_mag = 0.0);

// The colour indices worth drawing of those bands: neighbours in wavelength of one magnitude system. Of bands
// that are calibrated on the same one only one counts, itself first; unfiltered ones never.
[[nodiscard]] std::vector<ColourIndex> usual_colours(const std::vector<Band>& bands);

}  // namespace emberline::lightcurve
