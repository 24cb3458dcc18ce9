// SPDX-License-Identifier: MIT
#include "stars/kd_tree.hpp"

#include <catch2/catch.hpp>
#include <limits>

#include "numerics/random.hpp"

using namespace emberline;
using namespace emberline::stars;

namespace {

template <std::size_t N>
std::vector<std::array<double, N>> cloud(std::size_t n, bool on_a_lattice, numerics::Random& random) {
    std::vector<std::array<double, N>> points(n);
    for (auto& point : points) {
        for (double& v : point)
            v = on_a_lattice ? std::floor(random.uniform(0.0, 5.0)) : random.uniform(-1.0, 1.0);
    }
    return points;
}

template <std::size_t N>
std::vector<typename KdTree<N>::Found> by_looking_at_all(const std::vector<std::array<double, N>>& points,
                                                         const std::array<double, N>& centre, double radius) {
    std::vector<typename KdTree<N>::Found> out;
    for (std::size_t i = 0; i < points.size(); ++i) {
        double squared = 0.0;
        for (std::size_t d = 0; d < N; ++d)
            squared += (points[i][d] - centre[d]) * (points[i][d] - centre[d]);
        if (squared <= radius * radius) out.push_back({i, squared});
    }
    std::sort(out.begin(), out.end());
    return out;
}

template <std::size_t N>
void compare(std::size_t n, bool on_a_lattice, double radius, numerics::Random& random) {
    const auto points = cloud<N>(n, on_a_lattice, random);
    const KdTree<N> tree(points);
    REQUIRE(tree.size() == n);
    for (int k = 0; k < 30; ++k) {
        const auto centre = cloud<N>(1, on_a_lattice, random)[0];
        const auto expected = by_looking_at_all<N>(points, centre, radius);
        std::vector<typename KdTree<N>::Found> found;
        tree.within(centre, radius, [&](const auto& f) { found.push_back(f); });
        std::sort(found.begin(), found.end());
        REQUIRE(found.size() == expected.size());
        for (std::size_t i = 0; i < found.size(); ++i)
            REQUIRE(found[i].index == expected[i].index);

        const auto all = by_looking_at_all<N>(points, centre, 1e9);
        for (const std::size_t count : {std::size_t{1}, std::size_t{4}, n + 3}) {
            const auto nearest = tree.nearest(centre, count);
            REQUIRE(nearest.size() == std::min(count, n));
            for (std::size_t i = 0; i < nearest.size(); ++i)
                REQUIRE(nearest[i].index == all[i].index);
        }
        typename KdTree<N>::Found one;
        REQUIRE(tree.nearest_one(centre, radius, one) == !expected.empty());
        if (!expected.empty()) REQUIRE(one.index == expected[0].index);
    }
}

}  // namespace

TEST_CASE("the tree finds what looking at every point finds, ties by the order given", "[kd_tree]") {
    numerics::Random random(1977);
    for (const std::size_t n :
         {std::size_t{1}, std::size_t{6}, std::size_t{7}, std::size_t{40}, std::size_t{700}}) {
        for (const bool on_a_lattice : {false, true}) {
            INFO(n << " points" << (on_a_lattice ? " on a lattice" : ""));
            compare<2>(n, on_a_lattice, on_a_lattice ? 1.0 : 0.3, random);
            compare<4>(n, on_a_lattice, on_a_lattice ? 1.0 : 0.5, random);
        }
    }
}

TEST_CASE("points that are no numbers are never found, and an empty tree finds nothing", "[kd_tree]") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const KdTree<2> tree({{0.0, 0.0}, {nan, 0.0}, {1.0, std::numeric_limits<double>::infinity()}});
    CHECK(tree.size() == 1);
    CHECK(tree.nearest({0.0, 0.0}, 5).size() == 1);
    const KdTree<2> empty;
    CHECK(empty.nearest({0.0, 0.0}, 5).empty());
    KdTree<2>::Found found;
    CHECK_FALSE(empty.nearest_one({0.0, 0.0}, 1.0, found));
    CHECK_FALSE(tree.nearest_one({0.0, 0.0}, nan, found));
    CHECK_FALSE(tree.nearest_one({nan, 0.0}, 1.0, found));
}
