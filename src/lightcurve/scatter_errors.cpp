// SPDX-License-Identifier: MIT
// Notation: w weight of the earlier neighbour; for equal errors σ of all three points, the deviation from the
// line has the variance σ² (1 + w² + (1 − w)²).
#include "lightcurve/scatter_errors.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

// The median of so many deviations is known to about 0.35 of itself; of fewer, to no use.
constexpr std::size_t least_deviations = 5;
constexpr double least_err_mag = 0.001;  // no magnitude of a small telescope is better

struct Deviation {
    double span_d = 0.0;      // between the neighbours
    double of_one_mag = 0.0;  // scaled to the scatter of one point
};

// Of every point that has neighbours at least that far away, ascending in time.
std::vector<Deviation> deviations(const std::vector<const Point*>& points, double gap_d) {
    std::vector<Deviation> found;
    std::size_t after = 0;
    std::optional<std::size_t> before;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double t = points[i]->bjd_tdb;
        // Both neighbours only move forward.
        for (std::size_t k = before ? *before + 1 : 0; k < i && t - points[k]->bjd_tdb >= gap_d; ++k)
            before = k;
        after = std::max(after, i + 1);
        while (after < points.size() && points[after]->bjd_tdb - t < gap_d)
            ++after;
        if (!before || after == points.size()) continue;
        const Point &a = *points[*before], &b = *points[after];
        const double span = b.bjd_tdb - a.bjd_tdb;
        const double w = span > 0.0 ? (b.bjd_tdb - t) / span : 0.5;
        const double off = *points[i]->magnitude_mag - w * *a.magnitude_mag - (1.0 - w) * *b.magnitude_mag;
        found.push_back({span, off / std::sqrt(1.0 + w * w + (1.0 - w) * (1.0 - w))});
    }
    return found;
}

void keep_closer_half(std::vector<Deviation>& all) {
    std::vector<double> spans;
    spans.reserve(all.size());
    for (const Deviation& d : all)
        spans.push_back(d.span_d);
    const double usual = numerics::median(spans);
    std::erase_if(all, [&](const Deviation& d) { return d.span_d > usual; });
}

struct Scatter {
    double mag = 0.0;
    std::size_t n = 0;
    bool between_nights = true;
};

std::optional<Scatter> scatter_of(const std::vector<const Point*>& points) {
    for (const double gap_d : {one_night_d, 0.0}) {
        std::vector<Deviation> all = deviations(points, gap_d);
        if (all.empty()) continue;
        keep_closer_half(all);
        if (all.size() < least_deviations) continue;
        std::vector<double> sizes;
        sizes.reserve(all.size());
        for (const Deviation& d : all)
            sizes.push_back(std::abs(d.of_one_mag));
        const double mag = numerics::mad_to_sigma * numerics::median(sizes);
        if (mag < least_err_mag) return std::nullopt;
        return Scatter{mag, all.size(), gap_d > 0.0};
    }
    return std::nullopt;
}

}  // namespace

std::vector<std::string> errors_from_scatter(LightCurve& curve) {
    std::vector<std::string> remarks;
    for (std::size_t s = 0; s < curve.series.size(); ++s) {
        std::vector<Point*> guessed;
        for (Point& point : curve.points) {
            if (point.series != s || !point.err_is_guess || point.is_limit || !point.magnitude_mag) continue;
            guessed.push_back(&point);
        }
        if (guessed.empty()) continue;
        const std::string who =
            fmt::format("{} in {}: {}", curve.series[s], curve.band.empty() ? "?" : curve.band.name(),
                        guessed.size() == 1 ? "one point has no error"
                                            : fmt::format("{} points have no error", guessed.size()));
        const auto scatter = scatter_of({guessed.begin(), guessed.end()});
        if (!scatter) {
            remarks.push_back(fmt::format("{}, and their scatter does not tell it: {:.2f} mag stands in.",
                                          who, guessed.front()->random_err_mag.value_or(0.0)));
            continue;
        }
        for (Point* point : guessed)
            point->random_err_mag = scatter->mag;
        remarks.push_back(fmt::format(
            "{}: {:.3f} mag is taken, from how far {} of them lie off the line between "
            "{}.",
            who, scatter->mag, scatter->n,
            scatter->between_nights ? "the nights before and after" : "the points before and after"));
    }
    return remarks;
}

}  // namespace emberline::lightcurve
