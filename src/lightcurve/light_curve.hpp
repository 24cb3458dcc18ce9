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
#include "quantities/problem.hpp"

namespace emberline::lightcurve {

// Fluxes of all points of a curve are on one scale: magnitude = flux_zero_mag − 2.5 log10(flux).
inline constexpr double flux_zero_mag = 25.0;
[[nodiscard]] inline double flux_of_magnitude(double mag) {
    return flux_ratio(mag - flux_zero_mag);
}
// Not a finite number for a flux that is not above zero.
[[nodiscard]] inline double magnitude_of_flux(double flux) {
    return flux_zero_mag + magnitude_difference(flux, 1.0);
}

// What lies within half a day of a night's first point is of that night.
inline constexpr double one_night_d = 0.5;

struct Point {
    double bjd_tdb = 0.0;
    double jd_utc = 0.0;
    bool is_limit = false;
    std::optional<double> magnitude_mag;  // absent for a limit
    std::optional<double> random_err_mag;
    std::optional<double> limit_mag;  // for a limit
    double limit_sigma = 3.0;         // how many sigma that limit is
    std::optional<Flux> flux;         // on flux_zero_mag, random error; where kept, fits use it (limits too)
    std::vector<double> common_err_mag;  // one an entry of LightCurve::common_names, signed; empty: none
    bool err_is_guess = false;           // it came without an error: see errors_from_scatter()
    std::size_t series = 0;              // whose it is: index into LightCurve::series
    std::string label;                   // night or frame, for tables
    Caveats caveats;
};

struct LightCurve {
    Band band;
    std::vector<std::string> series{"own"};  // whose points these are; merge_series() makes several
    std::vector<std::string> common_names;
    std::vector<Point> points;  // ascending in time
};

// The earliest first; points of one time keep their order.
void sort_by_time(LightCurve& curve);

// Points of one series that agree in every number are one measurement that was copied: one of them stays.
// Returns how many went.
std::size_t drop_copies(LightCurve& curve);

// The points with from <= bjd_tdb <= to, as indices into the curve; a missing end is open.
[[nodiscard]] std::vector<std::size_t> within(const LightCurve& curve, std::optional<double> from_bjd_tdb,
                                              std::optional<double> to_bjd_tdb);

// Whether every number of that point can go into a likelihood. Problem: a time, magnitude, flux or limit that
// is missing or no number, an error that is missing, zero or negative, common errors that do not match their
// names.
[[nodiscard]] Result<void> check_point(const LightCurve& curve, std::size_t index);

}  // namespace emberline::lightcurve
