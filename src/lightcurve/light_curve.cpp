// SPDX-License-Identifier: MIT
#include "lightcurve/light_curve.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <tuple>

namespace emberline::lightcurve {
namespace {

// Nothing in the sky is outside, and 10^(0.4 × 60) stays far from overflow.
constexpr double largest_magnitude_mag = 60.0;

std::string place_of(const LightCurve& curve, std::size_t index) {
    const Point& point = curve.points[index];
    std::string place = curve.band.empty()
                            ? fmt::format("Light curve, point {}", index + 1)
                            : fmt::format("Light curve in {}, point {}", curve.band.name(), index + 1);
    if (!point.label.empty()) place += fmt::format(" ({})", point.label);
    return place;
}

bool is_magnitude(const std::optional<double>& mag) {
    return mag && std::isfinite(*mag) && std::abs(*mag) <= largest_magnitude_mag;
}

bool is_error(const std::optional<double>& err) {
    return err && std::isfinite(*err) && *err > 0.0;
}

}  // namespace

void sort_by_time(LightCurve& curve) {
    std::stable_sort(curve.points.begin(), curve.points.end(),
                     [](const Point& a, const Point& b) { return a.bjd_tdb < b.bjd_tdb; });
}

std::size_t drop_copies(LightCurve& curve) {
    const auto numbers = [](const Point& p) {
        std::vector<std::optional<double>> all{p.bjd_tdb, p.magnitude_mag, p.random_err_mag, p.limit_mag,
                                               p.limit_sigma};
        all.push_back(p.flux ? std::optional(p.flux->value) : std::nullopt);
        all.push_back(p.flux ? std::optional(p.flux->err) : std::nullopt);
        all.insert(all.end(), p.common_err_mag.begin(), p.common_err_mag.end());
        return all;
    };
    std::set<std::tuple<std::size_t, bool, std::vector<std::optional<double>>>> seen;
    return std::erase_if(curve.points, [&](const Point& p) {
        auto all = numbers(p);
        // What is no number has no order; such a point stays, to be refused by check_point().
        if (std::any_of(all.begin(), all.end(), [](const auto& v) { return v && std::isnan(*v); }))
            return false;
        return !seen.emplace(p.series, p.is_limit, std::move(all)).second;
    });
}

std::vector<std::size_t> within(const LightCurve& curve, std::optional<double> from_bjd_tdb,
                                std::optional<double> to_bjd_tdb) {
    std::vector<std::size_t> inside;
    for (std::size_t i = 0; i < curve.points.size(); ++i) {
        const double t = curve.points[i].bjd_tdb;
        // Written so that a time that is no number stays inside and is refused by check_point().
        if ((from_bjd_tdb && t < *from_bjd_tdb) || (to_bjd_tdb && t > *to_bjd_tdb)) continue;
        inside.push_back(i);
    }
    return inside;
}

Result<void> check_point(const LightCurve& curve, std::size_t index) {
    const Point& point = curve.points[index];
    const auto refuse = [&](std::string what, std::string mend) {
        return fail({.what = std::move(what), .where = place_of(curve, index), .mend = std::move(mend)});
    };
    if (!std::isfinite(point.bjd_tdb)) {
        return refuse("The time of this point is not a number.",
                      "Give its Julian date, or leave the point out.");
    }
    if (!point.common_err_mag.empty() && point.common_err_mag.size() != curve.common_names.size()) {
        return refuse(fmt::format("This point has {} common errors where the curve names {}.",
                                  point.common_err_mag.size(), curve.common_names.size()),
                      "Give one for each name, 0 where it does not touch this point.");
    }
    if (!std::all_of(point.common_err_mag.begin(), point.common_err_mag.end(),
                     [](double v) { return std::isfinite(v); })) {
        return refuse("A common error of this point is not a number.",
                      "Give 0 where it does not touch this point.");
    }
    if (point.flux) {
        if (!std::isfinite(point.flux->value)) {
            return refuse("The flux of this point is not a number.",
                          "Leave the point out, or measure it again.");
        }
        if (!is_error(point.flux->err)) {
            return refuse("The error of this point's flux is zero, negative or not a number.",
                          "Give its one-sigma error, or leave the point out.");
        }
        return {};
    }
    if (point.is_limit) {
        if (!is_magnitude(point.limit_mag)) {
            return refuse("This limit has no magnitude between -60 and 60.",
                          "Give the limiting magnitude, or leave the point out.");
        }
        if (!is_error(point.limit_sigma)) {
            return refuse("It is not known how many sigma this limit stands for.",
                          "Give a positive number of sigma: 3 is usual.");
        }
        return {};
    }
    if (!is_magnitude(point.magnitude_mag)) {
        return refuse("This point has no magnitude between -60 and 60.",
                      "Give its magnitude, or mark it as a limit, or leave it out.");
    }
    if (!is_error(point.random_err_mag)) {
        return refuse("The error of this point is missing, zero or negative.",
                      "Give its one-sigma error in magnitudes, or leave the point out.");
    }
    return {};
}

}  // namespace emberline::lightcurve
