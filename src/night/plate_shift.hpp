// SPDX-License-Identifier: MIT
// night/plate_shift — by how much a plate solution is off at one place, from stars about it. Private to this
// room.
#pragma once

#include <cstddef>
#include <vector>

namespace emberline::night {

// One star, on the tangent plane of the place that is asked for: where the plate puts its
// centroid, and how far from there its catalogue place lies.
struct PlateResidual {
    double east_arcsec = 0.0, north_arcsec = 0.0;
    double off_east_arcsec = 0.0, off_north_arcsec = 0.0;
    double err_arcsec = 0.0;  // of the centroid, one axis
};

// What is to be added to what the plate says at the place that is asked for.
struct PlateShift {
    double east_arcsec = 0.0, north_arcsec = 0.0;
    double err_arcsec = 0.0;    // one axis, all in
    double noise_arcsec = 0.0;  // of that, what the stars' centroids make
    double rms_arcsec = 0.0;    // one axis, of what is left; outliers hardly count
    std::size_t stars = 0;      // that agree
    int terms = 2;              // 2: a shift; 4: rotation and scale too; 6: any linear map
};

// Weighted least squares with mistakes among the catalogue's places weighted down; what the stars scatter by
// beyond their centroids' errors is the catalogue's (and the plate's shape), one sigma the same for all. A
// shift up to three stars, where an error of the catalogue is assumed too; rotation and scale from four on;
// shear from eight. `stars` must not be empty, nor an error 0.
[[nodiscard]] PlateShift plate_shift(const std::vector<PlateResidual>& stars, double east_arcsec,
                                     double north_arcsec);

}  // namespace emberline::night
