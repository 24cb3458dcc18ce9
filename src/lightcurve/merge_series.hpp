// SPDX-License-Identifier: MIT
// lightcurve/merge_series — several observers' points of one band as one curve. An offset of one series with
// a Gaussian prior is the same thing as an error common to its points, so that is how the fit gets it.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/fit.hpp"
#include "lightcurve/light_curve.hpp"

namespace emberline::lightcurve {

// How far careful observers' zero points of one band lie apart. Common practice, no source.
inline constexpr double usual_offset_mag = 0.1;
// Before the name of a series it names that series' offset among the common errors. One band's offset says
// nothing of another's.
inline constexpr std::string_view offset_prefix = "offset of ";

// All of one band; the first is the one that others are offset from, each by what its prior of that sigma
// allows. A curve that is itself of several series moves as one. Common errors stay apart by name: the name
// of the series is put before it, except for the first. Two series of one name are two series: the later one
// becomes "name (2)". A sigma of 0: no offsets.
[[nodiscard]] LightCurve merge_series(std::vector<LightCurve> curves,
                                      double offset_prior_mag = usual_offset_mag);

struct SeriesOffset {
    std::string series;
    ValueWithError mag;  // the series minus the first
};
// Of a curve that merge_series() made and a fit of it, in the order of the series.
[[nodiscard]] std::vector<SeriesOffset> offsets_of(const LightCurve& curve, const CurveFit& fit);

}  // namespace emberline::lightcurve
