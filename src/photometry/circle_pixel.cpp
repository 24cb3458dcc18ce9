// SPDX-License-Identifier: MIT
// Notation: r radius; a, b the columns between which the circle's arc bounds the area; t the arc's angle
// at the centre.
#include "photometry/circle_pixel.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace emberline::photometry {

namespace {

// std::hypot guards against overflow and underflow, which pixels do not know, and takes longer than all the
// rest of an overlap.
double length(double x, double y) {
    return std::sqrt(x * x + y * y);
}

double half_chord(double distance, double r) {
    return distance < r ? std::sqrt((r - distance) * (r + distance)) : 0.0;
}

// Area between a chord of that length and its arc. For small angles t − sin t cancels, hence the series.
double segment_area(double chord, double r) {
    const double t = 2.0 * std::asin(std::min(1.0, chord / (2.0 * r)));
    const double t2 = t * t;
    const double t_minus_sin =
        t < 0.2 ? t * t2 / 6.0 * (1.0 - t2 / 20.0 * (1.0 - t2 / 42.0 * (1.0 - t2 / 72.0))) : t - std::sin(t);
    return 0.5 * r * r * t_minus_sin;
}

// Rectangle [x0, x1] × [y0, y1] in the first quadrant: full columns, then columns cut by the arc.
double quadrant_overlap(double x0, double x1, double y0, double y1, double r) {
    if (x1 <= x0 || y1 <= y0 || length(x0, y0) >= r) return 0.0;
    const double a = std::clamp(half_chord(y1, r), x0, x1);
    const double b = std::clamp(half_chord(y0, r), x0, x1);
    double area = (a - x0) * (y1 - y0);
    if (b > a) {
        const double top = half_chord(a, r);
        const double bottom = half_chord(b, r);
        area +=
            (b - a) * (0.5 * (top - y0) + 0.5 * (bottom - y0)) + segment_area(length(b - a, top - bottom), r);
    }
    return area;
}

}  // namespace

double circle_pixel_overlap(double x, double y, double radius) {
    if (std::isnan(x) || std::isnan(y) || std::isnan(radius)) return std::numeric_limits<double>::quiet_NaN();
    // By symmetry the pixel's centre moves to the first quadrant; its edges may still cross the axes.
    const double left = std::abs(x) - 0.5, right = std::abs(x) + 0.5;
    const double low = std::abs(y) - 0.5, high = std::abs(y) + 0.5;
    if (radius <= 0.0 || length(std::max(left, 0.0), std::max(low, 0.0)) >= radius) return 0.0;
    if (length(right, high) <= radius) return 1.0;
    const double x0 = std::max(left, 0.0), y0 = std::max(low, 0.0);
    const double over_x = std::max(-left, 0.0), over_y = std::max(-low, 0.0);
    const double area =
        quadrant_overlap(x0, right, y0, high, radius) + quadrant_overlap(0.0, over_x, y0, high, radius) +
        quadrant_overlap(x0, right, 0.0, over_y, radius) + quadrant_overlap(0.0, over_x, 0.0, over_y, radius);
    return std::clamp(area, 0.0, 1.0);
}

}  // namespace emberline::photometry
