// SPDX-License-Identifier: MIT
// tests/studies/curve_study_nights — what a small telescope gets of a known light curve: clear nights and
// cloud, the Moon, a gap, limits, common errors, sometimes a second observer.
#pragma once

#include <functional>
#include <string>

#include "lightcurve/light_curve.hpp"
#include "numerics/random.hpp"

namespace curve_study {

using TrueCurve = std::function<double(double bjd_tdb)>;  // magnitude

inline constexpr double first_bjd = 2460400.5;

struct NightsOptions {
    double from_d = 0.0, to_d = 80.0;  // since first_bjd
    double clear = 0.6;                // chance of a night without Moon and cloud
    double two_observers = 0.33;       // chance of a second series with an offset
    double depth_mag = 2.2;            // dark sky: 3 sigma lie so much below the last night's true magnitude
    bool common_errors = true;
};

// Own points keep their flux; the second observer's are magnitudes, and limits where the flux was below 3
// sigma. Errors of 0.01 to about 0.1 mag, larger under the Moon or behind thin cloud. Zero point (0.02 mag)
// and colour term (0.01 mag at either end, with a slope in time) are common errors, drawn from their sizes;
// so is the offset between the observers (0.1 mag).
emberline::lightcurve::LightCurve observe(const TrueCurve& truth, const NightsOptions& options,
                                          emberline::numerics::Random& random);

// One clear sight of a flux: a detection, or a limit where it is below 3 sigma.
emberline::lightcurve::Point seen(double bjd_tdb, double flux, double flux_err, bool keep_flux);

double flux_of(double mag);

}  // namespace curve_study
