// SPDX-License-Identifier: MIT
// stars/kd_tree — points of a few dimensions, so kept that those near a place are found without looking at
// all. Source: Friedman, Bentley & Finkel (1977), ACM TOMS 3, 209; split at the median of the widest
// dimension.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace emberline::stars {

template <std::size_t N>
class KdTree {
  public:
    using Point = std::array<double, N>;
    struct Found {
        std::size_t index = 0;  // into the points as given
        double squared = 0.0;   // distance, squared
        // Equal distances: the one given first, so that results do not hang on how the tree was split.
        bool operator<(const Found& o) const {
            return squared < o.squared || (squared == o.squared && index < o.index);
        }
    };

    KdTree() = default;
    // Points with a coordinate that is not finite are never found.
    explicit KdTree(const std::vector<Point>& points) {
        for (std::size_t i = 0; i < points.size(); ++i) {
            if (std::all_of(points[i].begin(), points[i].end(), [](double v) { return std::isfinite(v); }))
                entries_.push_back({points[i], i});
        }
        split_.resize(entries_.size());
        build(0, entries_.size());
    }
    [[nodiscard]] std::size_t size() const { return entries_.size(); }

    // Calls found(Found) for every point no farther than `radius`; in no order that means anything.
    template <class Function>
    void within(const Point& centre, double radius, Function&& found) const {
        if (radius >= 0.0) visit(0, entries_.size(), centre, radius * radius, found);
    }
    // The nearest so many, nearest first, none farther than `radius`.
    [[nodiscard]] std::vector<Found> nearest(const Point& centre, std::size_t count,
                                             double radius = HUGE_VAL) const {
        std::vector<Found> best;  // a heap, the farthest on top
        if (count == 0 || !(radius >= 0.0)) return best;
        double bound = radius * radius;
        auto keep = [&](const Found& f) {
            if (best.size() == count && !(f < best.front())) return;
            if (best.size() == count) {
                std::pop_heap(best.begin(), best.end());
                best.pop_back();
            }
            best.push_back(f);
            std::push_heap(best.begin(), best.end());
            if (best.size() == count) bound = std::min(bound, best.front().squared);
        };
        visit(0, entries_.size(), centre, bound, keep);
        std::sort_heap(best.begin(), best.end());
        return best;
    }
    // The nearest one: false where none is as near as `radius`.
    [[nodiscard]] bool nearest_one(const Point& centre, double radius, Found& out) const {
        if (!(radius >= 0.0)) return false;
        double bound = radius * radius;
        bool any = false;
        auto keep = [&](const Found& f) {
            if (any && !(f < out)) return;
            out = f;
            any = true;
            bound = f.squared;
        };
        visit(0, entries_.size(), centre, bound, keep);
        return any;
    }

  private:
    struct Entry {
        Point point;
        std::size_t index;
    };
    static constexpr std::size_t leaf = 6;

    void build(std::size_t low, std::size_t high) {
        if (high - low <= leaf) return;
        Point least = entries_[low].point, most = least;
        for (std::size_t i = low + 1; i < high; ++i) {
            for (std::size_t d = 0; d < N; ++d) {
                least[d] = std::min(least[d], entries_[i].point[d]);
                most[d] = std::max(most[d], entries_[i].point[d]);
            }
        }
        std::size_t widest = 0;
        for (std::size_t d = 1; d < N; ++d) {
            if (most[d] - least[d] > most[widest] - least[widest]) widest = d;
        }
        const std::size_t middle = low + (high - low) / 2;
        std::nth_element(entries_.begin() + static_cast<std::ptrdiff_t>(low),
                         entries_.begin() + static_cast<std::ptrdiff_t>(middle),
                         entries_.begin() + static_cast<std::ptrdiff_t>(high),
                         [&](const Entry& a, const Entry& b) { return a.point[widest] < b.point[widest]; });
        split_[middle] = static_cast<std::uint8_t>(widest);
        build(low, middle);
        build(middle + 1, high);
    }

    template <class Function>
    void look(std::size_t i, const Point& centre, const double& bound, Function& found) const {
        double squared = 0.0;
        for (std::size_t d = 0; d < N; ++d) {
            const double away = entries_[i].point[d] - centre[d];
            squared += away * away;
        }
        if (squared <= bound) found(Found{entries_[i].index, squared});
    }
    // `bound`, squared, may shrink while points are found.
    template <class Function>
    void visit(std::size_t low, std::size_t high, const Point& centre, const double& bound,
               Function& found) const {
        if (high - low <= leaf) {
            for (std::size_t i = low; i < high; ++i)
                look(i, centre, bound, found);
            return;
        }
        const std::size_t middle = low + (high - low) / 2;
        const std::size_t d = split_[middle];
        const double beyond = centre[d] - entries_[middle].point[d];
        if (beyond <= 0.0) {
            visit(low, middle, centre, bound, found);
        } else {
            visit(middle + 1, high, centre, bound, found);
        }
        if (!(beyond * beyond <= bound)) return;
        look(middle, centre, bound, found);
        if (beyond <= 0.0) {
            visit(middle + 1, high, centre, bound, found);
        } else {
            visit(low, middle, centre, bound, found);
        }
    }

    std::vector<Entry> entries_;
    std::vector<std::uint8_t> split_;
};

}  // namespace emberline::stars
