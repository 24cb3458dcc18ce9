// SPDX-License-Identifier: MIT
// photometry/growth — how a star's light grows with the aperture, and which aperture suits the transient.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace emberline::photometry {

// Robust mean over stars of flux(r)/flux(r_last), one value a radius, with its standard error.
struct GrowthCurve {
    std::vector<double> fraction;  // the last is 1
    std::vector<double> fraction_err;
    std::size_t stars = 0;
};
// stars[i][k]: flux of star i at radius k; weights by flux_err; stars with a non-positive last flux are left
// out. Empty input gives an empty curve.
[[nodiscard]] GrowthCurve growth_curve(const std::vector<std::vector<double>>& stars,
                                       const std::vector<double>& last_flux_err);

// For one frame: what the transient's error would be at each radius.
struct ApertureCandidate {
    double enclosed = 0.0;            // from the growth curve
    double background_e2 = 0.0;       // of the transient's aperture
    double zero_point_err_mag = 0.0;  // of the comparison stars at that radius, random part
    double scatter_ratio = 1.0;       // what stars scatter over what their noise says: scales the error
};
// Relative error of the transient's magnitude at each candidate, for a total flux; the least wins, ties to
// the larger radius (flat minimum: within 2 % of the least, the largest radius is safer against centring).
[[nodiscard]] std::size_t best_aperture(std::span<const ApertureCandidate> candidates, double total_flux_e);

}  // namespace emberline::photometry
