// SPDX-License-Identifier: MIT
// lightcurve/light_curve — a series of magnitudes of one band, with the errors that its points share.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "numerics/matrix.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::lightcurve {

// Fluxes of all points of a curve are on one scale: magnitude = flux_zero_mag − 2.5 log10(flux).
inline constexpr double flux_zero_mag = 25.0;

struct Point {
    double bjd_tdb = 0.0;
    double jd_utc = 0.0;
    bool is_limit = false;
    std::optional<double> magnitude_mag;   // absent for a limit
    std::optional<double> random_err_mag;
    std::optional<double> limit_mag;       // for a limit
    double limit_sigma = 3.0;              // how many sigma that limit is
    std::optional<Flux> flux;              // on flux_zero_mag; where kept, fits use it (also for limits)
    std::vector<double> common_err_mag;    // one an entry of LightCurve::common_names, signed
    std::string label;                     // night or frame, for tables
    Caveats caveats;
};

struct LightCurve {
    Band band;
    std::string series = "own";            // whose points these are
    std::vector<std::string> common_names;
    std::vector<Point> points;             // ascending in time
};

}  // namespace emberline::lightcurve
