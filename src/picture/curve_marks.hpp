// SPDX-License-Identifier: MIT
// picture/curve_marks — what of a light curve can be put on paper: marks, arrows, residuals and their ranges.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "picture/curve_picture.hpp"

namespace emberline::picture {

// Magnitudes are as drawn: offsets between series taken off, the band's shift added.
struct Mark {
    double jd = 0.0;  // BJD (TDB)
    double mag = 0.0;
    double random_err = 0.0;
    double total_err = 0.0;  // random and common in quadrature
    bool outlier = false;    // the fit gave it little weight
    std::optional<double> residual_mag;
    std::size_t series = 0;  // index into series_of()
    std::size_t point = 0;   // index into the curve's points
};

struct LimitMark {
    double jd = 0.0;
    double mag = 0.0;
    std::size_t series = 0;
    std::size_t point = 0;
};

struct LineSample {
    double jd = 0.0, mag = 0.0, err = 0.0;
};

struct BandMarks {
    std::vector<Mark> marks;
    std::vector<LimitMark> limits;
    std::vector<LineSample> line;  // the fit's curve over its interval
    [[nodiscard]] bool has_line() const { return line.size() > 1; }
};

// The names of all series of a picture, the first of the first band ahead; "own" of any band is the first.
[[nodiscard]] std::vector<std::string> series_of(const CurvePicture& picture);
// A fit's curve over its interval, with one sigma of the curve itself.
[[nodiscard]] std::vector<LineSample> line_of(const lightcurve::CurveFit& fit, double shift_mag = 0.0);
[[nodiscard]] BandMarks marks_of(const CurveOnPaper& paper, const std::vector<std::string>& series);

struct Range {
    double low = 0.0, high = 0.0;
    [[nodiscard]] double span() const { return high - low; }
    [[nodiscard]] bool holds(double value) const { return value >= low && value <= high; }
};

// The range of those values without the few (5 %, at least one) that stand apart from all others by more than
// 0.6 of what these span and by more than `apart`: one wrong point must not flatten a curve. Not finite ones
// do not count. Nothing for no values.
[[nodiscard]] std::optional<Range> range_without_strays(std::vector<double> values, double apart);

struct CurveRanges {
    Range jd, mag;                       // padded; every mark lies inside `jd`, all but strays inside `mag`
    std::optional<double> residual_mag;  // half height of the residual panel; absent without a fit
    bool errors_differ = false;          // somewhere the common errors enlarge an error bar visibly
    double utc_lag_d = 0.0;              // mean of BJD (TDB) − JD (UTC), for the calendar axis
};
// Nothing when there is nothing to draw.
[[nodiscard]] std::optional<CurveRanges> ranges_of(const CurvePicture& picture,
                                                   const std::vector<BandMarks>& bands);

// Leaves at most about `most` points and limits, one for each spot of paper that any covers, so that a
// picture of a hundred thousand points stays small and looks the same. Returns how many there were.
std::size_t thin_out(std::vector<BandMarks>& bands, const CurveRanges& ranges, std::size_t most);

// The height of a band's curve at that time: its line, or between its points; nothing outside both.
[[nodiscard]] std::optional<double> curve_at(const BandMarks& band, double jd);

// Moves boxes along a line (each with a centre and a length) as little as needed so that they neither overlap
// nor leave [low, high], in their order. Where they do not fit, they overlap at the end.
[[nodiscard]] std::vector<double> moved_apart(std::span<const double> centres,
                                              std::span<const double> lengths, double low, double high);

}  // namespace emberline::picture
