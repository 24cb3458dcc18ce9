// SPDX-License-Identifier: MIT
// tasks/curve_course — a light curve for somebody who looks at it: every point with what it lies off the fit,
// the fit's line with its band, as the picture draws them; and the rate of an interval that is being picked,
// at once, since nothing but a straight line is fitted for it.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/analysis.hpp"
#include "picture/curve_marks.hpp"
#include "tasks/curve.hpp"
#include "tasks/curve_points.hpp"

namespace emberline::tasks {

struct DrawnPoint {
    double bjd_tdb = 0.0;
    std::optional<double> jd_utc;
    double mag = 0.0;  // of a limit: the limit; the fitted offset of another observer's series is taken off
    // One sigma: of this point alone, shared with others, both in quadrature. Absent: none is known, a limit.
    std::optional<double> random_err_mag, common_err_mag, err_mag;
    bool is_limit = false, outlier = false;
    std::size_t series = 0;              // index into CurveCourse::series
    std::string night;                   // empty: another observer's
    std::optional<double> residual_mag;  // data − line; absent outside the interval that was fitted
};

struct DrawnBand {
    Band band;
    std::vector<DrawnPoint> points;         // by time
    std::vector<picture::LineSample> line;  // of the chosen fit; empty: none
};

struct Maximum {
    ValueWithError bjd_tdb;
    Band band;  // whose: B, else V, else the bluest that has one
};

struct CurveCourse {
    std::vector<std::string> series;  // one's own first
    std::vector<DrawnBand> bands;
    std::optional<Maximum> maximum;
};
[[nodiscard]] CurveCourse course_of(const CurveOutcome& outcome);

struct IntervalRate {
    Band band;
    lightcurve::StraightRate straight;
    std::vector<picture::LineSample> line;
    std::vector<std::string> remarks;  // of the points: copies, errors that were found from their scatter
};
// What `curve --rate` gives of that band. Problem (request): a band that is none, fewer than two detections
// in the interval; (input): no points of that band.
[[nodiscard]] Result<IntervalRate> rate_of_interval(const CurvePoints& points, const std::string& band,
                                                    const lightcurve::Interval& interval);

// The picture that `curve --picture` draws, as its bytes: svg, pdf, png. Problem (request): another format;
// (input): nothing could be fitted, and so there is nothing to draw; (storage): no gnuplot.
[[nodiscard]] Result<std::string> curve_picture(const CurveOutcome& outcome, std::string_view format);

}  // namespace emberline::tasks
