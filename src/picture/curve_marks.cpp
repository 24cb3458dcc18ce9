// SPDX-License-Identifier: MIT
#include "picture/curve_marks.hpp"

#include <algorithm>
#include <cmath>

#include "quantities/magnitude.hpp"

namespace emberline::picture {
namespace {

using lightcurve::flux_zero_mag;
using lightcurve::Point;

// An error bar longer than this would flatten everything else; it is cut off at the panel's edge.
constexpr double longest_bar_mag = 1.0;
constexpr int samples_of_line = 160;

std::optional<double> magnitude_of(const Point& point) {
    if (point.magnitude_mag) return point.magnitude_mag;
    if (point.flux && point.flux->value > 0.0)
        return flux_zero_mag + magnitude_difference(point.flux->value, 1.0);
    return std::nullopt;
}

double random_error_of(const Point& point) {
    double err = 0.0;
    if (point.random_err_mag) {
        err = *point.random_err_mag;
    } else if (point.flux && point.flux->value > 0.0) {
        err = mag_per_relative_flux * point.flux->err / point.flux->value;
    }
    return std::isfinite(err) && err > 0.0 ? err : 0.0;
}

std::optional<double> limit_of(const Point& point) {
    if (point.limit_mag) return point.limit_mag;
    if (!point.flux) return std::nullopt;
    const double flux = std::max(point.flux->value, 0.0) + point.limit_sigma * point.flux->err;
    if (!(flux > 0.0)) return std::nullopt;
    return flux_zero_mag + magnitude_difference(flux, 1.0);
}

void include(std::optional<Range>& range, double value) {
    if (!std::isfinite(value)) return;
    if (!range) range = Range{value, value};
    range->low = std::min(range->low, value);
    range->high = std::max(range->high, value);
}

Range padded(Range range, double least_span, double share) {
    const double missing = std::max(least_span - range.span(), 0.0) / 2.0;
    range.low -= missing;
    range.high += missing;
    const double pad = share * range.span();
    return {range.low - pad, range.high + pad};
}

}  // namespace

BandMarks marks_of(const CurveOnPaper& paper) {
    BandMarks band;
    for (std::size_t i = 0; i < paper.curve.points.size(); ++i) {
        const Point& point = paper.curve.points[i];
        if (!std::isfinite(point.bjd_tdb)) continue;
        if (point.is_limit) {
            const auto limit = limit_of(point);
            if (limit && std::isfinite(*limit)) band.limits.push_back({point.bjd_tdb, *limit});
            continue;
        }
        const auto mag = magnitude_of(point);
        if (!mag || !std::isfinite(*mag)) continue;
        Mark mark{.jd = point.bjd_tdb, .mag = *mag, .random_err = random_error_of(point)};
        double variance = mark.random_err * mark.random_err;
        for (const double common : point.common_err_mag)
            variance += common * common;
        mark.total_err = std::isfinite(variance) ? std::sqrt(variance) : mark.random_err;
        if (paper.fit && i < paper.fit->points.size() && paper.fit->points[i].weight > 0.0) {
            mark.open = paper.fit->points[i].weight < 0.5;
            const double residual = mark.mag - paper.fit->points[i].model_mag;
            if (std::isfinite(residual)) mark.residual_mag = residual;
        }
        band.marks.push_back(mark);
    }
    if (paper.fit && paper.fit->prediction) {
        const double from = paper.fit->from_bjd_tdb, span = paper.fit->to_bjd_tdb - from;
        for (int i = 0; i <= samples_of_line; ++i) {
            const double t = from + span * i / samples_of_line;
            const ValueWithError at = paper.fit->prediction->magnitude(t);
            if (std::isfinite(at.value))
                band.line.push_back({t, at.value, std::isfinite(at.err) ? at.err : 0.0});
        }
    }
    return band;
}

std::optional<CurveRanges> ranges_of(const CurvePicture& picture, const std::vector<BandMarks>& bands) {
    std::optional<Range> jd, mag;
    CurveRanges ranges;
    std::vector<double> heights;
    for (const BandMarks& band : bands) {
        for (const Mark& m : band.marks) {
            include(jd, m.jd);
            include(mag, m.mag - std::min(m.total_err, longest_bar_mag));
            include(mag, m.mag + std::min(m.total_err, longest_bar_mag));
            if (m.total_err > 1.05 * m.random_err) ranges.errors_differ = true;
            if (m.residual_mag)
                heights.push_back(std::abs(*m.residual_mag) + std::min(m.total_err, longest_bar_mag));
        }
        for (const LimitMark& l : band.limits) {
            include(jd, l.jd);
            // Room for the arrow, and no false precision where there are limits alone.
            include(mag, l.mag - 0.1);
            include(mag, l.mag + 0.2);
        }
    }
    if (!jd || !mag) return std::nullopt;
    // One point alone stands in the middle of two days and a fifth of a magnitude.
    const bool alone = jd->span() == 0.0;
    const double least_days = alone ? 2.0 : 0.02, least_mag = alone ? 0.2 : 0.02;
    // The line may enlarge the panel, but not without end where it runs far from the points.
    Range wide = padded(*mag, least_mag, 0.3);
    for (const BandMarks& band : bands) {
        for (const LineSample& at : band.line)
            include(mag, std::clamp(at.mag, wide.low, wide.high));
    }
    ranges.jd = padded(*jd, least_days, 0.04);
    ranges.mag = padded(*mag, least_mag, 0.07);
    if (!heights.empty()) {
        // The panel shows at least three quarters of the points in full, and what fits on four times as much.
        std::sort(heights.begin(), heights.end());
        const double usual = heights[std::min(heights.size() - 1, heights.size() * 3 / 4)];
        double half = 0.0;
        for (const double h : heights) {
            if (h <= 4.0 * usual) half = std::max(half, h);
        }
        ranges.residual_mag = std::max(1.15 * half, 0.005);
    }
    double lag_sum = 0.0, n = 0.0;
    for (const CurveOnPaper& paper : picture.bands) {
        for (const Point& point : paper.curve.points) {
            const double lag = point.bjd_tdb - point.jd_utc;
            // Light time and TDB − UTC together stay within 10 minutes; anything else is a time not given.
            if (std::abs(lag) > 0.01) continue;
            lag_sum += lag;
            n += 1.0;
        }
    }
    if (n > 0.0) ranges.utc_lag_d = lag_sum / n;
    return ranges;
}

}  // namespace emberline::picture
