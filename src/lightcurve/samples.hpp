// SPDX-License-Identifier: MIT
// lightcurve/samples — the detections of a curve as plain pairs: what models look at for their starts.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "lightcurve/light_curve.hpp"

namespace emberline::lightcurve {

struct Sample {
    double days = 0.0;  // since the reference epoch
    double mag = 0.0;
    double err_mag = 0.0;  // random; 0 where none came with the point
};

// Points that are no limits and have a magnitude or a positive flux, in the order of the curve.
[[nodiscard]] std::vector<Sample> detections(const LightCurve& curve, double reference_bjd_tdb);

// At most `most` samples for an ascending list: runs of neighbours of about equal number, each told by the
// medians of its times and magnitudes, so that one bad point among three or more does not show.
[[nodiscard]] std::vector<Sample> thinned(std::span<const Sample> samples, std::size_t most);

// One sample a night of an ascending list: those within half a day of a night's first are told by their
// medians.
[[nodiscard]] std::vector<Sample> nightly(std::span<const Sample> samples);

// The same list with the median magnitude of each and its two neighbours, which leaves a rise or a fade alone
// and takes single bad points out. At the ends, where there is one neighbour, the line through the next two
// stands in for the other (Tukey 1977).
[[nodiscard]] std::vector<Sample> smoothed(std::span<const Sample> samples);
// The brightest of those between the ends. At least three are needed.
[[nodiscard]] Sample brightest_of(std::span<const Sample> samples);

}  // namespace emberline::lightcurve
