// SPDX-License-Identifier: MIT
#include "numerics/simplex_search.hpp"

#include <algorithm>
#include <cmath>

namespace emberline::numerics {
namespace {

struct Corner {
    std::vector<double> place;
    double value = 0.0;
};

// from + share · (to − from)
std::vector<double> along(const std::vector<double>& from, const std::vector<double>& to, double share) {
    std::vector<double> place(from.size());
    for (std::size_t j = 0; j < from.size(); ++j)
        place[j] = from[j] + share * (to[j] - from[j]);
    return place;
}

}  // namespace

LowestPlace simplex_search(const Landscape& height, std::vector<double> start,
                           const SimplexOptions& options) {
    LowestPlace found;
    const auto corner = [&](std::vector<double> place) {
        ++found.evaluations;
        const double value = height(place);
        return Corner{std::move(place), std::isfinite(value) ? value : HUGE_VAL};
    };
    std::vector<Corner> corners{corner(start)};
    for (std::size_t j = 0; j < start.size(); ++j) {
        auto place = start;
        place[j] += options.first_step;
        corners.push_back(corner(std::move(place)));
    }
    const auto by_height = [](const Corner& a, const Corner& b) { return a.value < b.value; };
    while (true) {
        std::sort(corners.begin(), corners.end(), by_height);
        double size = 0.0;
        for (const Corner& c : corners) {
            for (std::size_t j = 0; j < start.size(); ++j)
                size = std::max(size, std::abs(c.place[j] - corners.front().place[j]));
        }
        found.settled = corners.back().value - corners.front().value < options.level && size < options.size;
        if (found.settled || found.evaluations >= options.most_evaluations) break;
        std::vector<double> centre(start.size());
        for (std::size_t c = 0; c + 1 < corners.size(); ++c) {
            for (std::size_t j = 0; j < start.size(); ++j)
                centre[j] += corners[c].place[j] / static_cast<double>(start.size());
        }
        Corner& worst = corners.back();
        Corner reflected = corner(along(centre, worst.place, -1.0));
        if (reflected.value < corners.front().value) {
            Corner expanded = corner(along(centre, worst.place, -2.0));
            worst = expanded.value < reflected.value ? std::move(expanded) : std::move(reflected);
            continue;
        }
        if (reflected.value < corners[corners.size() - 2].value) {
            worst = std::move(reflected);
            continue;
        }
        const bool outside = reflected.value < worst.value;
        Corner contracted = corner(along(centre, outside ? reflected.place : worst.place, 0.5));
        if (contracted.value < std::min(reflected.value, worst.value)) {
            worst = std::move(contracted);
            continue;
        }
        for (std::size_t c = 1; c < corners.size(); ++c)
            corners[c] = corner(along(corners.front().place, corners[c].place, 0.5));
    }
    found.place = corners.front().place;
    found.value = corners.front().value;
    return found;
}

Matrix curvature(const Landscape& height, std::span<const double> place, double step) {
    const std::size_t n = place.size();
    const std::vector<double> here(place.begin(), place.end());
    const auto shifted = [&](std::size_t i, double by_i, std::size_t j, double by_j) {
        std::vector<double> p = here;
        p[i] += by_i;
        p[j] += by_j;
        return height(p);
    };
    const double middle = height(here);
    Matrix second(n, n);
    for (std::size_t i = 0; i < n; ++i) {
        second(i, i) = (shifted(i, step, i, 0.0) - 2.0 * middle + shifted(i, -step, i, 0.0)) / (step * step);
        for (std::size_t j = 0; j < i; ++j) {
            second(i, j) = (shifted(i, step, j, step) - shifted(i, step, j, -step) -
                            shifted(i, -step, j, step) + shifted(i, -step, j, -step)) /
                           (4.0 * step * step);
            second(j, i) = second(i, j);
        }
    }
    return second;
}

}  // namespace emberline::numerics
