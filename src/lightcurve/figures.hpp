// SPDX-License-Identifier: MIT
// lightcurve/figures — the numbers that observers quote, read off the curves that a fit leaves possible, so
// that every kind of fit gives them with an error.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

struct Figure {
    double value = 0.0;            // of the best estimate
    double err = 0.0;              // half of the interval that holds 68.27 % of the draws
    double low = 0.0, high = 0.0;  // that interval's ends
};

inline constexpr std::size_t usual_draws = 1000;

struct Peak {
    Figure bjd_tdb, mag;
    std::string model;       // the fit it is read off
    double bracketed = 1.0;  // share of draws whose maximum of light lies inside the interval, not at its end
};
// The brightest time of the curve within the fit's interval. Nothing where fewer than 95 % of the draws have
// it inside: a fade whose peak was missed has none.
[[nodiscard]] std::optional<Peak> peak_of(const CurveFit& fit, std::uint64_t seed = 1,
                                          std::size_t draws = usual_draws);
// Magnitudes faded `days` (of the transient's own clock) after maximum: 15 for Δm15 (Phillips 1993, ApJ 413,
// L105). Nothing where there is no peak, or the curve does not reach so far.
[[nodiscard]] std::optional<Figure> fade_after_peak(const CurveFit& fit, double days = 15.0,
                                                    double redshift = 0.0, std::uint64_t seed = 1,
                                                    std::size_t draws = usual_draws);
// Mean rate between two times, mag/d, positive when it fades. Of one instant nothing is known: its error is
// infinite.
[[nodiscard]] Figure rate_between(const CurveFit& fit, double from_bjd_tdb, double to_bjd_tdb,
                                  std::uint64_t seed = 1, std::size_t draws = usual_draws);

// The peak by a local polynomial, the classical way: the points from `before_d` before to `after_d` after the
// brightest, once more around the maximum that they give. These days suit type Ia; a transient that bends
// faster gets fewer, one that bends more slowly up to twice as many. One order of seven, under weak priors
// for the shape, which are scaled with the window. The fit's interval holds what it was made of. Problem:
// fewer than 5 nights, fewer than 2 of them on either side of the maximum, two maxima, one too flat to have a
// time.
struct PeakWindow {
    double before_d = 10.0, after_d = 22.0;
};
[[nodiscard]] Result<CurveFit> fit_peak(const LightCurve& curve, const FitOptions& options = {},
                                        const PeakWindow& window = {});

// The measured rate over that of ⁵⁶Co with every gamma ray kept, on the transient's own clock.
[[nodiscard]] ValueWithError cobalt_ratio(const ValueWithError& mag_per_day, double redshift = 0.0);

}  // namespace emberline::lightcurve
