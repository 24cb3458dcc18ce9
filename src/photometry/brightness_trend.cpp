// SPDX-License-Identifier: MIT
// Notation: y = a + b x; w weight, z residual over its error, s scatter beyond the errors.
#include "photometry/brightness_trend.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr std::size_t least_points = 4;
constexpr double prior_points = 3.0;
constexpr double odd_sigma =
    2.0;  // from here on a star counts less, as in Huber 1964 (Ann. Math. Stat. 35, 73)
constexpr int rounds = 12;

struct Line {
    double slope = 0.0, slope_err = 0.0;
};

// The median of the slopes of all pairs: Theil 1950 (Proc. KNAW 53, 386), Sen 1968 (JASA 63, 1379).
double median_slope(const std::vector<TrendPoint>& points) {
    std::vector<double> slopes;
    for (std::size_t i = 0; i < points.size(); ++i) {
        for (std::size_t j = 0; j < i; ++j) {
            const double run = points[i].x - points[j].x;
            if (run != 0.0) slopes.push_back((points[i].y - points[j].y) / run);
        }
    }
    return slopes.empty() ? 0.0 : numerics::median(std::move(slopes));
}

std::optional<Line> fit(const std::vector<TrendPoint>& points, double usual_scatter) {
    double b = median_slope(points);
    std::vector<double> rests;
    for (const TrendPoint& p : points)
        rests.push_back(p.y - b * p.x);
    double a = numerics::median(rests);
    double s = usual_scatter;
    Line line;
    for (int round = 0; round < rounds; ++round) {
        double sw = 0.0, swx = 0.0, swy = 0.0;
        std::vector<double> weights;
        for (const TrendPoint& p : points) {
            const double variance = p.err * p.err + s * s;
            const double z = std::abs(p.y - a - b * p.x) / std::sqrt(variance);
            weights.push_back((z > odd_sigma ? odd_sigma / z : 1.0) / variance);
            sw += weights.back();
            swx += weights.back() * p.x;
            swy += weights.back() * p.y;
        }
        const double mx = swx / sw, my = swy / sw;
        double sxx = 0.0, sxy = 0.0;
        for (std::size_t i = 0; i < points.size(); ++i) {
            sxx += weights[i] * (points[i].x - mx) * (points[i].x - mx);
            sxy += weights[i] * (points[i].x - mx) * (points[i].y - my);
        }
        if (!(sxx > 0.0)) return std::nullopt;
        b = sxy / sxx;
        a = my - b * mx;
        // Squares beyond what the errors explain, one wild star counted as an odd one.
        double squares = 0.0;
        for (const TrendPoint& p : points) {
            const double rest = p.y - a - b * p.x;
            const double most = 3.0 * std::hypot(p.err, s);
            squares += std::max(std::min(rest * rest, most * most) - p.err * p.err, 0.0);
        }
        const double degrees = static_cast<double>(points.size()) - 2.0;
        s = std::sqrt((squares + prior_points * usual_scatter * usual_scatter) / (degrees + prior_points));
        line = {b, 1.0 / std::sqrt(sxx)};
    }
    return line;
}

}  // namespace

std::optional<Trend> brightness_trend(std::span<const TrendPoint> points, double expected,
                                      double usual_scatter) {
    if (points.size() < least_points) return std::nullopt;
    const std::vector<TrendPoint> all(points.begin(), points.end());
    const auto line = fit(all, usual_scatter);
    if (!line) return std::nullopt;
    const auto [low, high] = std::minmax_element(
        all.begin(), all.end(), [](const TrendPoint& p, const TrendPoint& q) { return p.x < q.x; });
    Trend trend{line->slope, line->slope_err, (line->slope - expected) / line->slope_err, high->x - low->x,
                all.size()};
    for (std::size_t left_out = 0; left_out < all.size(); ++left_out) {
        std::vector<TrendPoint> rest = all;
        rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(left_out));
        const auto other = fit(rest, usual_scatter);
        const double significance = other ? (other->slope - expected) / other->slope_err : 0.0;
        // A star whose absence turns the slope round held it all.
        if (significance * trend.significance <= 0.0) {
            trend.significance = 0.0;
        } else if (std::abs(significance) < std::abs(trend.significance)) {
            trend.significance = significance;
        }
    }
    return trend;
}

}  // namespace emberline::photometry
