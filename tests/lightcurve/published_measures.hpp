// SPDX-License-Identifier: MIT
// tests/lightcurve/published_measures — quantities that papers quote, measured with the whole chain: series,
// errors, fit, figures.
#pragma once

#include <string>
#include <vector>

#include "lightcurve/figures.hpp"
#include "lightcurve/published_claims.hpp"

namespace emberline::test {

// One supernova's file and what is known of it beforehand.
struct Source {
    std::string path;
    double redshift = 0.0;
    lightcurve::PeakWindow window = {};
};

// A file of `lightcurves/` in the folder of open data.
[[nodiscard]] inline std::string open_curve(const std::string& datasets, const std::string& file) {
    return datasets + "/lightcurves/" + file;
}

struct Interval {
    double from_mjd, to_mjd;
};

// What a drop is measured on, and with which form of the step.
struct Step {
    Interval interval;
    std::string model = "sloping-plateau-and-drop";
};

// The plateau's end and the tail's start lie this many widths of the step before and after its middle, where
// 2 % of it are still to come, or are over.
inline constexpr double widths_of_drop = 4.0;

// By the local polynomial around the maximum.
[[nodiscard]] Measure time_of_maximum(const Source& source, const std::string& band);  // MJD
[[nodiscard]] Measure maximum(const Source& source, const std::string& band);
[[nodiscard]] Measure delta_m15(const Source& source, const std::string& band);
// By a Gaussian process.
[[nodiscard]] Measure delta_m15_by_process(const Source& source, const std::string& band,
                                           const Interval& interval);
// Magnitudes faded between two days, by a Gaussian process: no shape is assumed.
[[nodiscard]] Measure fade_between(const Source& source, const std::string& band, const Interval& interval,
                                   double from_mjd, double to_mjd);
// Of a straight line, mag in 100 d: as the program fits, and by least squares and nothing else.
[[nodiscard]] Measure straight_rate(const Source& source, const std::string& band, const Interval& interval);
[[nodiscard]] Measure plain_rate(const Source& source, const std::string& band, const Interval& interval);
[[nodiscard]] Measure over_cobalt(const Source& source, const std::string& band, const Interval& interval);
// Days from explosion to the middle of the drop, or to some widths before it.
[[nodiscard]] Measure drop_after(const Source& source, const std::string& band, const Step& step,
                                 double explosion_mjd, double widths_before = 0.0);
// From the plateau's end to the tail's start, with what the slopes add meanwhile. The two times are held:
// their own error is not in it.
[[nodiscard]] Measure whole_drop(const Source& source, const std::string& band, const Step& step);
// Days from the break after the first decline to the plateau's end.
[[nodiscard]] Measure slow_stretch(const Source& source, const std::string& band, const Interval& before_drop,
                                   const Step& with_drop);
// B − V without foreground dust at day 60, on a line of the published slope through days 30 to 90 after the
// maximum in V (Phillips et al. 1999).
[[nodiscard]] Measure late_colour(const Source& source, double ebv_mag);

}  // namespace emberline::test
