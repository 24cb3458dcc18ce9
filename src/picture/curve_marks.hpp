// SPDX-License-Identifier: MIT
// picture/curve_marks — what of a light curve can be put on paper: marks, arrows, residuals and their ranges.
#pragma once

#include <optional>
#include <vector>

#include "picture/curve_picture.hpp"

namespace emberline::picture {

struct Mark {
    double jd = 0.0;  // BJD (TDB)
    double mag = 0.0;
    double random_err = 0.0;
    double total_err = 0.0;  // random and common in quadrature
    bool open = false;       // the fit gave it little weight
    std::optional<double> residual_mag;
};

struct LimitMark {
    double jd = 0.0;
    double mag = 0.0;
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

[[nodiscard]] BandMarks marks_of(const CurveOnPaper& paper);

struct Range {
    double low = 0.0, high = 0.0;
    [[nodiscard]] double span() const { return high - low; }
};

struct CurveRanges {
    Range jd, mag;                       // padded; every mark lies inside
    std::optional<double> residual_mag;  // half height of the residual panel; absent without a fit
    bool errors_differ = false;          // somewhere the common errors enlarge an error bar visibly
    double utc_lag_d = 0.0;              // mean of BJD (TDB) − JD (UTC), for the calendar axis
};
// Nothing when there is nothing to draw.
[[nodiscard]] std::optional<CurveRanges> ranges_of(const CurvePicture& picture,
                                                   const std::vector<BandMarks>& bands);

}  // namespace emberline::picture
